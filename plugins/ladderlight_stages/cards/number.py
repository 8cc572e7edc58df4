"""The number of a bank in large figures."""

import numpy as np

from ladderlight import Board, CodedPicture, Origin, stage
from ladderlight_stages.drawing import cells_of, fair_codes
from ladderlight_stages.lettering import glyphs

_HIGH = 7  # dots of a digit's height; the row and the column that are left empty beside it do not count
_FILLED = 0.8  # of the picture's width and height


@stage(help="The number of the card's bank in large figures: shows which bank the switches choose.")
def number(board: Board, origin: Origin) -> CodedPicture:
    """Draw the decimal number of the bank in white on black, as large as fits, its dots about square on the screen."""
    dark, bright = fair_codes(board, 2)
    text = "?" if origin.bank is None else str(origin.bank)
    dots = np.hstack([glyphs()[digit] for digit in text])[:_HIGH, :-1]
    width, height = board.geometry.width, board.geometry.height
    cells, aspect = cells_of(board), board.geometry.pixel_aspect
    high = min(_FILLED * height / dots.shape[0], _FILLED * width * aspect / dots.shape[1])
    down, across = _whole(high, cells.height), _whole(high / aspect, cells.width)
    figure = np.kron(dots, np.ones((down, across), dtype=bool))
    top, left = (
        _start(size, drawn, cell)
        for size, drawn, cell in zip((height, width), figure.shape, (cells.height, cells.width), strict=True)
    )
    picture = np.full((height, width), dark, dtype=np.uint16)
    part = picture[top : top + figure.shape[0], left : left + figure.shape[1]]
    part[figure[: part.shape[0], : part.shape[1]]] = bright
    return CodedPicture.of_card(picture)


def _whole(size: float, cell: int) -> int:
    """Return the size of a dot in whole cells, or in whole pixels where a cell is larger."""
    return int(size // cell * cell) or max(1, int(size))


def _start(size: int, drawn: int, cell: int) -> int:
    return max(0, (size - drawn) // 2 // cell * cell)
