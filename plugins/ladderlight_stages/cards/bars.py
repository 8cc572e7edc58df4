"""Bars in a board's colours."""

import numpy as np

from ladderlight import Board, CodedPicture, stage
from ladderlight_stages.drawing import bars as drawn_bars
from ladderlight_stages.drawing import fair_codes

_MOST = 64


@stage(help="Bars in every colour of the board, or in 64 that differ most: shows wrong data lines and colours.")
def bars(board: Board) -> CodedPicture:
    """Draw bars in ascending order of their codes, from left to right, in rows of up to 16 from the top.

    Code 0 is at the top left. Two lines of blue, green and red each, from the lowest code bit up, thus give four rows
    of 16 bars: red rises from row to row, green every four bars, and blue from bar to bar. Equal colours have one bar.
    """
    return CodedPicture.of_card(drawn_bars(board, np.sort(fair_codes(board, _MOST))))
