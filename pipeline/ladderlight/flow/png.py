"""Codes as PNG files: indexed pictures whose pixel values are the codes."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from PIL import Image

    from ladderlight.board import Board

MOST_INDEXED = 256
"""Colours of an indexed picture: W3C PNG, ISO/IEC 15948, 11.2.2."""
_USUAL_COMPRESSION = 6


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


def saved(picture: Image.Image, *, compression: int = _USUAL_COMPRESSION) -> bytes:
    """Return a picture as a PNG; ``compression`` is zlib's level, 0 to 9."""
    file = io.BytesIO()
    picture.save(file, format="PNG", compress_level=compression)
    return file.getvalue()
