"""One ladder line at a time."""

import numpy as np

from ladderlight import Board, CodedPicture, stage
from ladderlight_stages.drawing import bars


@stage(help="One ladder line at a time, between none and all: shows which data line is wrong.")
def lines(board: Board) -> CodedPicture:
    """Draw a bar with no line high, one for each ladder line high alone, and one with all high.

    Bars go from left to right, in rows of up to 16 from the top; lines are in the order of the code's bits, as the
    memories' data pins drive them. The bar of a line stuck low is dark; a line stuck high lights all bars; two
    exchanged lines exchange their bars.
    """
    count = len(board.code_lines)
    return CodedPicture.of_card(bars(board, np.array([0, *(1 << bit for bit in range(count)), (1 << count) - 1])))
