"""Pictures out of chips that were read back."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ladderlight.board import Board
from ladderlight.errors import DeviceFileError
from ladderlight.proof.scanout import picture_codes
from ladderlight.units.arrays import Words

_MOST_INDEXED = 256
_MOST_BANKS = 256


def coded_png(codes: NDArray[np.integer], board: Board) -> bytes:
    """Write codes, shape (height, width), as a PNG in the colours that the monitor shows.

    With up to 256 codes it is an indexed picture whose pixel values are the codes and whose palette is the board's
    (W3C PNG, ISO/IEC 15948: at most 256 entries); with more it has plain colours.
    """
    if len(board.palette) <= _MOST_INDEXED:
        picture = Image.frombytes("P", codes.shape[::-1], codes.astype(np.uint8).tobytes())
        picture.putpalette(board.palette.srgb8.tobytes())
    else:
        picture = Image.fromarray(board.palette.srgb8[codes])
    file = io.BytesIO()
    picture.save(file, format="PNG")
    return file.getvalue()


def decode(board: Board, words: Mapping[str, Words]) -> Iterator[tuple[int, bytes]]:
    """Yield every bank's number and its picture as a PNG.

    Raises
    ------
    DeviceFileError
        When the wiring has more than 256 banks.
    """
    if board.bank_count > _MOST_BANKS:
        raise DeviceFileError(f"the board has {board.bank_count} banks; {_MOST_BANKS} is the most that can be decoded")
    for bank in range(board.bank_count):
        yield bank, coded_png(picture_codes(board, words, bank), board)
