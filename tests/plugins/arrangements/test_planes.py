"""Several pictures in lines of their own."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import ArrangementError
from ladderlight_stages.arrangements.planes import planes


@pytest.fixture
def two_planes(make_board, memory, ladder, packing):
    """640x240 pixels, two planes of one bit with shift registers, two banks."""
    return make_board(
        *(
            memory(
                f"plane{n}",
                address=["x3-x9", "y1-y8", "bank0"],
                data=[f"g{n}"],
                part="27C512",
                packing=packing(pixels=8),
            )
            for n in (0, 1)
        ),
        ladder=ladder(grey={"g1": 715.0, "g0": 1330.0}),
    )


def test_one_plane_for_each_memory(two_planes, coded, shown):
    board = two_planes
    a, b, c = (coded(board, name, seed=seed) for seed, name in enumerate("abc"))
    contents = planes([a, b, c], board)
    assert np.array_equal(shown(board, contents, 0), a.codes & 1 | b.codes & 2)
    assert np.array_equal(shown(board, contents, 1), c.codes & 1)
    assert [(placed.origin.name, placed.bank) for placed in contents.pictures] == [("a", 0), ("b", 0), ("c", 1)]


def test_lines_of_each_plane(board, coded, shown):
    """Two eyes: the left picture in the red lines, the right one in green and blue."""
    left, right = coded(board, "left", seed=1, bank=2), coded(board, "right", seed=2)
    contents = planes([left, right], board, lines=["r0-r1", "g0 g1 b0-b1"])
    assert np.array_equal(shown(board, contents, 2), left.codes & 0b110000 | right.codes & 0b001111)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (["r0", "q1"], "plane 2 has 'q1'; the ladders have b0, b1, g0, g1, r0, r1"),
        (["r0-r1", "r1 g0"], "plane 2 has 'r1', which another plane has too"),
        (["r0-g1"], "plane 1: 'r0-g1' is not a range"),
        ([""], "plane 1 has no line"),
        ([], "lines is empty; write the lines of each plane"),
    ],
)
def test_lines_that_cannot_be(board, coded, lines, message):
    with pytest.raises(ArrangementError, match=message):
        planes([coded(board)], board, lines=lines)
