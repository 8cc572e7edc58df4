"""TIFFs beyond what Pillow decodes in full: floats, 32 bits, compressed separate planes of 16 bits.

Floats are linear light, with white at 1, as scene-referred files are commonly written; no standard says so. A profile
in the file says otherwise: then they are encoded as it says. Whole numbers fill their range, as TIFF 6.0 says of white.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from ladderlight import PictureError
from ladderlight_stages.sources.files import FORMATS, refuse_size

if TYPE_CHECKING:
    from tifffile import TiffPage

UInt16 = NDArray[np.uint16]

_MAGIC = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")  # TIFF 6.0, section 2, and BigTIFF
_ORIENTATION, _PROFILE = 274, 34675
_NOT_SHOWN = 0b101  # NewSubfileType: a thumbnail, or a mask (TIFF 6.0, section 8)
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _COLOUR = 0, 1, 2
_DILUTED = 1  # ExtraSamples: colour already multiplied by alpha

logging.getLogger("tifffile").addHandler(logging.NullHandler())


@dataclass(frozen=True, kw_only=True)
class Page:
    """A page as decoded, not turned upright.

    ``colours`` float32, linear light, or uint16 over its range; shape (height, width, 1) or (height, width, 3).
    ``alpha`` uint16 (height, width) or None.
    """

    number: int
    colours: NDArray[Any]
    alpha: UInt16 | None
    profile: bytes
    orientation: int


def is_foreign(path: Path) -> bool:
    """Whether a file is a TIFF with a page that Pillow does not know at all."""
    try:
        with path.open("rb") as file:
            if file.read(4) not in _MAGIC:
                return False
            file.seek(0)
            with Image.open(file, formats=FORMATS) as image:
                for number in range(1, getattr(image, "n_frames", 1)):
                    image.seek(number)
            return False
    except (UnidentifiedImageError, SyntaxError):
        return True
    except Exception:  # noqa: BLE001 - whatever is wrong with it is said by those who read it
        return False


def page_numbers(path: Path) -> list[int]:
    """List the pages that are meant to be shown."""
    with _pages(path) as pages:
        return [number for number, page in enumerate(pages) if not int(page.subfiletype) & _NOT_SHOWN] or [0]


def decoded_page(path: Path, number: int, *, use_profile: bool) -> Page:
    """Decode a page in full.

    Raises
    ------
    PictureError
        When it is broken, or its samples are of a kind without an agreed white.
    """
    with _pages(path) as pages:
        page = pages[number]
        refuse_size(page.imagewidth, page.imagelength)
        samples, alpha = _channels(page)
        tags = page.tags
        profile = tags[_PROFILE].value if use_profile and _PROFILE in tags else b""
        turn = tags[_ORIENTATION].value if _ORIENTATION in tags else 1
        if samples.dtype == np.float32 and profile:
            samples = _sixteen_bits(samples)
        return Page(
            number=number,
            colours=samples,
            alpha=alpha,
            profile=bytes(profile),
            orientation=int(turn) if 1 <= int(turn) <= 8 else 1,
        )


@contextmanager
def _pages(path: Path) -> Iterator[list[TiffPage]]:
    import tifffile  # takes a while to load, and few pictures need it

    try:
        with tifffile.TiffFile(path) as file:
            yield list(file.pages)  # type: ignore[arg-type]
    except PictureError:
        raise
    except Exception as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        if "imagecodecs" in reason:
            raise PictureError(
                "its compression needs the package imagecodecs; install ladderlight[tiff], or save it without "
                "compression"
            ) from error
        raise PictureError(f"broken or cut short ({reason}); save or copy it again") from error


def _channels(page: TiffPage) -> tuple[NDArray[Any], UInt16 | None]:
    """Give float32 or uint16 samples, (height, width, 1 or 3), and alpha."""
    photometric = int(page.photometric)
    if photometric not in (_WHITE_IS_ZERO, _BLACK_IS_ZERO, _COLOUR):
        raise PictureError(f"its {page.dtype} samples are neither grey nor RGB; save it as RGB")
    if page.dtype is None or page.dtype.kind not in "uf":
        raise PictureError(f"samples of {page.dtype} have no agreed white; save it with 8 or 16 bits, or as floats")
    if page.axes not in ("YX", "YXS", "SYX"):
        raise PictureError("it is a stack of slices in one page; save the slices as pages")
    samples = page.asarray()
    if page.axes == "YX":
        samples = samples[:, :, np.newaxis]
    elif page.axes == "SYX":
        samples = np.moveaxis(samples, 0, 2)
    count = 3 if photometric == _COLOUR else 1
    samples = _in_range(samples)
    colours, extra = samples[:, :, :count], samples[:, :, count : count + 1]
    if photometric == _WHITE_IS_ZERO:
        colours = (np.float32(1) if colours.dtype == np.float32 else np.uint16(65535)) - colours
    if not extra.size or not page.extrasamples or int(page.extrasamples[0]) not in (_DILUTED, 2):
        return colours, None
    if int(page.extrasamples[0]) == _DILUTED:
        colours = _undiluted(colours, extra)
    alpha: UInt16 = _sixteen_bits(extra) if extra.dtype == np.float32 else extra
    return colours, alpha[:, :, 0]


def _in_range(samples: NDArray[Any]) -> NDArray[Any]:
    """Give samples as float32, 0 to 1, or as uint16 over its range."""
    if samples.dtype.kind == "f":
        return np.asarray(np.clip(np.nan_to_num(samples, nan=0.0), 0.0, 1.0), dtype=np.float32)
    bits = samples.dtype.itemsize * 8
    if bits == 8:
        return np.asarray(samples, dtype=np.uint16) * np.uint16(257)
    return np.asarray(samples >> np.asarray(bits - 16, samples.dtype), dtype=np.uint16)


def _sixteen_bits(samples: NDArray[Any]) -> UInt16:
    rounded: UInt16 = np.rint(samples * 65535).astype(np.uint16)
    return rounded


def _undiluted(colours: NDArray[Any], alpha: NDArray[Any]) -> NDArray[Any]:
    top = 1.0 if colours.dtype == np.float32 else 65535.0
    plain = np.minimum(colours * (top / np.maximum(alpha, top / 65535)), top)
    return np.asarray(plain, dtype=colours.dtype)
