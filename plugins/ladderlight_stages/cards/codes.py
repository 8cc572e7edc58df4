"""All codes of a board in a grid."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from ladderlight import Board, CodedPicture, Problem, stage
from ladderlight.board.scanning.lookup import lookup_of
from ladderlight_stages.drawing import grid


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    width, height, count = board.geometry.width, board.geometry.height, len(board.palette)
    across, down = _shape(count)
    lookup = lookup_of(board)
    if lookup and count > lookup.size:
        what = f"{count:,} codes are more than the {lookup.size:,} that the look-up memory holds"
        yield Problem(where=(), what=what, action="use the card bars")
    elif across > width or down > height:
        what = f"{count:,} codes in {across} columns and {down} rows are more than {width}x{height} pixels can show"
        yield Problem(where=(), what=what, action="use the card bars")


@stage(help="All codes in a grid: shows every word that a pixel can have.", rule=_problems)
def codes(board: Board) -> CodedPicture:
    """Draw all codes in a grid, code 0 at the top left, ascending from left to right and from row to row.

    There are as many columns as rows, or twice as many. With 16 columns the last hexadecimal digit of a code is thus
    its column, and the digits before are its row.
    """
    across, down = _shape(len(board.palette))
    return CodedPicture.of_card(grid(board, np.arange(across * down, dtype=np.uint16).reshape(down, across)))


def _shape(count: int) -> tuple[int, int]:
    bits = count.bit_length() - 1
    return 1 << bits - bits // 2, 1 << bits // 2
