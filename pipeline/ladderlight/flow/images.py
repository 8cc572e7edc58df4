"""Pictures as files: codes as PNG, and views of what was there before the reduction as JPEG."""

import io
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, srgb_from_linear
from ladderlight.flow.pictures import Picture, SourceView
from ladderlight.units.arrays import Bytes

if TYPE_CHECKING:
    from PIL import Image

MOST_INDEXED = 256
"""Colours of an indexed picture: W3C PNG, ISO/IEC 15948, 11.2.2."""
_USUAL_COMPRESSION = 6
_QUALITY = 75
_HALVED_COLOUR = 2  # Pillow's number for colour at half the resolution both ways
_STEPS = 65535
_STRIP = 1 << 15  # pixels at a time: few enough for the processor's cache


def coded_png(codes: NDArray[np.integer], board: Board) -> bytes:
    """Return codes, shape (height, width), as a PNG in the colours that the monitor shows.

    With up to 256 codes it is an indexed picture whose pixel values are the codes and whose palette is the board's;
    with more it has plain colours.
    """
    from PIL import Image

    if len(board.palette) <= MOST_INDEXED:
        picture = Image.frombytes("P", codes.shape[::-1], codes.astype(np.uint8).tobytes())
        picture.putpalette(board.palette.srgb8.tobytes())
        return saved(picture)
    return saved(Image.fromarray(board.palette.srgb8[codes]))


def saved(picture: "Image.Image", *, compression: int = _USUAL_COMPRESSION) -> bytes:
    """Return a picture as a PNG; ``compression`` is zlib's level, 0 to 9."""
    file = io.BytesIO()
    picture.save(file, format="PNG", compress_level=compression)
    return file.getvalue()


def source_view(picture: Picture) -> SourceView:
    """Return a picture as a JPEG with sRGB colours, and what it shows of its file."""
    from PIL import Image

    shown = np.empty(picture.pixels.shape, dtype=np.uint8)
    lines = max(1, _STRIP // shown.shape[1])
    for top in range(0, len(shown), lines):
        steps = picture.pixels[top : top + lines] * np.float32(_STEPS)
        steps += np.float32(0.5)
        _srgb8().take(steps.astype(np.intp), out=shown[top : top + lines], mode="clip")
    file = io.BytesIO()
    Image.fromarray(shown).save(file, format="JPEG", quality=_QUALITY, subsampling=_HALVED_COLOUR)
    if picture.part is None:
        return SourceView(data=file.getvalue())
    return SourceView(data=file.getvalue(), size=picture.part.size, crop=picture.part.crop)


@cache
def _srgb8() -> Bytes:
    return np.rint(srgb_from_linear(np.arange(_STEPS + 1) / _STEPS) * 255).astype(np.uint8)
