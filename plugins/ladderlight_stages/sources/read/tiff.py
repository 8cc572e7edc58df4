"""TIFFs that Pillow does not decode in full: floats, 32 bits, separate planes of 16 bits.

Floats are linear light with white at 1, as in most scene-referred files (common practice, no standard), unless a
profile in the file defines another encoding. Whole numbers fill their range, as TIFF 6.0 defines white.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen, PictureError
from ladderlight_stages.sources.read.picture_files.frames import NOT_SHOWN
from ladderlight_stages.sources.read.picture_files.limits import FrameSize, refuse_frames
from ladderlight_stages.sources.read.picture_files.opening import DamageError

if TYPE_CHECKING:
    from tifffile import TiffPage

UInt16 = NDArray[np.uint16]

_ORIENTATION, _PROFILE = 274, 34675
_WHITE_IS_ZERO, _BLACK_IS_ZERO, _COLOUR, _INKS = 0, 1, 2, 5
_CHANNELS = {_WHITE_IS_ZERO: 1, _BLACK_IS_ZERO: 1, _COLOUR: 3, _INKS: 4}
_DILUTED = 1  # ExtraSamples: colour already multiplied by alpha

logging.getLogger("tifffile").addHandler(logging.NullHandler())


class Page(Frozen):
    """A page as decoded, not turned upright.

    ``rows`` returns its samples from one row up to another. Colours float32, linear light, or uint16 over their range,
    shape (rows, width, channels): 1 channel for grey, 3 for colour, 4 for inks. Alpha uint16 (rows, width) or None.
    """

    width: int
    height: int
    rows: Callable[[int, int], tuple[NDArray[Any], UInt16 | None]]
    profile: bytes
    orientation: int


def page_sizes(path: Path) -> list[FrameSize]:
    """List the pages that are meant to be shown. Raises PictureError when the file is broken."""
    with _pages(path) as pages:
        shown = [number for number, page in enumerate(pages) if not int(page.subfiletype) & NOT_SHOWN] or [0]
        return [_size(number, pages[number]) for number in shown]


def _size(number: int, page: TiffPage) -> FrameSize:
    """Return a page's size; that of its tiles where these are larger."""
    width, height = max(page.imagewidth, page.tilewidth), max(page.imagelength, page.tilelength)
    depth = max(1, page.samplesperpixel * (page.dtype.itemsize if page.dtype else 1))
    return FrameSize(number=number, width=width, height=height, depth=depth)


def decoded_page(path: Path, number: int, *, use_profile: bool) -> Page:
    """Decode a page in full. Raises PictureError when it is broken, or its samples have no defined white."""
    with _pages(path) as pages:
        page = pages[number]
        refuse_frames([_size(number, page)])
        samples = _samples(page)
        tags = page.tags
        profile = bytes(tags[_PROFILE].value) if use_profile and _PROFILE in tags else b""
        turn = int(tags[_ORIENTATION].value) if _ORIENTATION in tags else 1
        photometric, extra = int(page.photometric), [int(kind) for kind in page.extrasamples]

        def rows(top: int, bottom: int) -> tuple[NDArray[Any], UInt16 | None]:
            colours, alpha = _channels(samples[top:bottom], photometric, extra)
            return (_sixteen_bits(colours) if colours.dtype == np.float32 and profile else colours), alpha

        return Page(
            width=samples.shape[1],
            height=samples.shape[0],
            rows=rows,
            profile=profile,
            orientation=turn if 1 <= turn <= 8 else 1,
        )


@contextmanager
def _pages(path: Path) -> Iterator[list[TiffPage]]:
    import tifffile  # takes a while to load, and few pictures need it

    try:
        with tifffile.TiffFile(path) as file:
            yield list(file.pages)  # type: ignore[arg-type]
    except PictureError:
        raise
    except MemoryError:
        raise PictureError("needs more memory than the computer has; scale it down first") from None
    except Exception as error:
        if "imagecodecs" in str(error):
            raise PictureError(
                "its compression needs the package imagecodecs; install ladderlight[tiff], or save it without "
                "compression"
            ) from error
        raise DamageError("TIFF: broken or cut short; save or copy it again") from error


def _samples(page: TiffPage) -> NDArray[Any]:
    """Return a page's samples as stored, shape (height, width, channels)."""
    photometric = int(page.photometric)
    count = _CHANNELS.get(photometric)
    if count is None or (photometric == _INKS and page.dtype is not None and page.dtype.kind == "f"):
        raise PictureError(f"its {page.dtype} samples are neither grey nor RGB; save it as RGB")
    if page.dtype is None or page.dtype.kind not in "uf":
        raise PictureError(f"samples of {page.dtype} have no defined white; save it with 8 or 16 bits, or as floats")
    if page.axes not in ("YX", "YXS", "SYX"):
        raise PictureError("it is a stack of slices in one page; save the slices as pages")
    samples: NDArray[Any] = page.asarray()
    if page.axes == "YX":
        samples = samples[:, :, np.newaxis]
    elif page.axes == "SYX":
        samples = np.moveaxis(samples, 0, 2)
    if samples.shape[2] < count:
        raise PictureError("it has fewer channels than its colours need; save it as RGB")
    return samples


def _channels(stored: NDArray[Any], photometric: int, extras: list[int]) -> tuple[NDArray[Any], UInt16 | None]:
    """Return float32 or uint16 samples, (height, width, channels), and alpha."""
    count = _CHANNELS[photometric]
    samples = _in_range(stored)
    colours, extra = samples[:, :, :count], samples[:, :, count : count + 1]
    if photometric == _WHITE_IS_ZERO:
        colours = (np.float32(1) if colours.dtype == np.float32 else np.uint16(65535)) - colours
    if not extra.size or not extras or extras[0] not in (_DILUTED, 2):
        return colours, None
    if extras[0] == _DILUTED:
        colours = _undiluted(colours, extra)
    alpha: UInt16 = _sixteen_bits(extra) if extra.dtype == np.float32 else extra
    return colours, alpha[:, :, 0]


def _in_range(samples: NDArray[Any]) -> NDArray[Any]:
    """Return samples as float32, 0 to 1, or as uint16 over its range."""
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
