"""Picture files: opening them, their frames, orientation and reduced-scale decoding; every failure as one line."""

from __future__ import annotations

import logging
import struct
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from PIL import Image, ImageFile, PngImagePlugin, TiffImagePlugin, UnidentifiedImageError, WebPImagePlugin

from ladderlight import Demand, PictureError

# Naming these plugins here spares Pillow loading all that it has when it meets the first such file.
_LATE = (TiffImagePlugin.TiffImageFile, WebPImagePlugin.WebPImageFile)
FORMATS = ("PNG", "JPEG", "GIF", "BMP", "PPM", *(plugin.format for plugin in _LATE))
IN_WORDS = "PNG, JPEG, GIF, WebP, TIFF, BMP or PPM"
MOST_PIXELS = 250_000_000
_FAILURES = (OSError, SyntaxError, ValueError, EOFError, LookupError, TypeError, OverflowError, MemoryError)
_ORIENTATION = 0x0112  # the EXIF and TIFF tag
_SUBFILE_TYPE = 254

# Pillow's own guard against decompression bombs warns, and warnings cannot be handled in one thread alone. The size is
# therefore checked in open_picture, before anything is decoded.
Image.MAX_IMAGE_PIXELS = None
# A PNG's history of editing may be longer than the megabyte that Pillow puts up with. All texts together stay limited.
PngImagePlugin.MAX_TEXT_CHUNK = PngImagePlugin.MAX_TEXT_MEMORY
# Pillow also warns of metadata that it cannot read. That harms no picture, and a user can do nothing about it.
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")
logging.getLogger("PIL").addHandler(logging.NullHandler())


@contextmanager
def open_picture(path: Path) -> Iterator[ImageFile.ImageFile]:
    """Open a picture file.

    Raises
    ------
    PictureError
        When the file is missing, of an unknown format, too large, broken, or proves broken while it is read.
    """
    try:
        with Image.open(path, formats=FORMATS) as image:
            refuse_size(image.width, image.height)
            yield image
    except UnidentifiedImageError:
        raise PictureError(f"not a picture that can be read; use {IN_WORDS}") from None
    except FileNotFoundError:
        raise PictureError("no such file; check the name") from None
    except PermissionError:
        raise PictureError("may not be read; check its permissions") from None
    except (*_FAILURES, struct.error, zlib.error, Warning) as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        raise PictureError(f"broken or cut short ({reason}); save or copy it again") from error


def refuse_size(width: int, height: int) -> None:
    """Refuse a picture of too many pixels, before anything is decoded.

    Raises
    ------
    PictureError
        With the size.
    """
    if width * height > MOST_PIXELS:
        raise PictureError(f"{width}x{height} pixels are more than {MOST_PIXELS // 10**6} million; scale it down first")


def frame_numbers(image: ImageFile.ImageFile) -> list[int]:
    """List the frames of an animation or the pages of a document, leaving out what is not meant to be shown.

    A PNG's default picture stands in for its animation where none can be played. A TIFF may hold thumbnails and masks.
    A phone's JPEG may hold a depth map after the photograph.
    """
    if image.format == "MPO":
        return [0]
    count = getattr(image, "n_frames", 1)
    if image.format == "TIFF" and count > 1:
        return [number for number in range(count) if not _subfile_type(image, number) & 0b101] or [0]
    return list(range(1 if count > 1 and getattr(image, "default_image", False) else 0, count))


def _subfile_type(image: ImageFile.ImageFile, page: int) -> int:
    image.seek(page)
    return int(image.tag_v2.get(_SUBFILE_TYPE, 0))  # type: ignore[attr-defined]


def frame_duration(image: ImageFile.ImageFile) -> float:
    """Give the milliseconds that an animation's frame is meant to be shown, 0 when the file does not say."""
    image.load()
    return float(image.info.get("duration") or 0)


def orientation(image: Image.Image) -> int:
    """Give the EXIF orientation, 1 to 8; 1 when there is none or it cannot be read."""
    try:
        value = image.getexif().get(_ORIENTATION, 1)
    except (*_FAILURES, struct.error, Warning):
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def reduce_scale(image: ImageFile.ImageFile, demand: Demand) -> None:
    """Ask for the smallest scale of a JPEG's decoder (1/8, 1/4, 1/2 or 1) that still gives the demanded size.

    The demand is meant for the picture as it is shown, upright.
    """
    if image.format not in ("JPEG", "MPO") or demand.width is None or demand.height is None:
        return
    size = (demand.width, demand.height)
    image.draft(None, size if orientation(image) < 5 else size[::-1])
