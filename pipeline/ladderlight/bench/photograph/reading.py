"""Photographs as files."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ladderlight.errors import PictureError
from ladderlight.system.paths import path_trouble
from ladderlight.units.arrays import Singles

_LONGEST = 1600
"""Pixels of the longer side of what is worked on: enough for ten a picture pixel, and quick."""
_LARGEST = 200_000_000
_TYPES = ("JPEG", "PNG")


@dataclass(frozen=True, kw_only=True, eq=False)
class Photograph:
    """A photograph from ``path``, upright. ``pixels`` float32, shape (height, width, 3), as encoded, 0 to 1.

    ``scale`` is by how much it was made smaller: pixels of the file for one of these.
    """

    path: Path
    pixels: Singles
    scale: float


def read_photograph(path: Path) -> Photograph:
    """Read a JPEG or PNG file, turned as its EXIF orientation says.

    Raises
    ------
    PictureError
        When it cannot be read, is of another type, is damaged, or has more than 200 million pixels.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    with path_trouble(PictureError, path, "cannot be read", "name a JPEG or PNG photograph"), path.open("rb") as file:
        try:
            with Image.open(file, formats=_TYPES) as opened:
                if opened.width * opened.height > _LARGEST:
                    size = f"{opened.width} by {opened.height} pixels"
                    raise PictureError(f"has {size}; save it with at most 200 million", where=path)
                full = max(opened.size)
                opened.draft("RGB", (_LONGEST, _LONGEST))
                upright = ImageOps.exif_transpose(opened).convert("RGB")
        except (UnidentifiedImageError, Image.DecompressionBombError):
            raise PictureError("is not a JPEG or PNG photograph; save it as one", where=path) from None
        except (OSError, SyntaxError, ValueError) as error:
            raise PictureError(f"is damaged ({error}); take another photograph", where=path) from None
    upright.thumbnail((_LONGEST, _LONGEST), Image.Resampling.BOX)
    pixels = np.asarray(upright).astype(np.float32) / np.float32(255)
    return Photograph(path=path, pixels=pixels, scale=full / max(upright.size))
