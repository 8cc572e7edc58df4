import numpy as np
import pytest

from ladderlight.proof.files import disturbance

from ...moments import disturbed

LINES = {"data": ["b0-b1", "g0-g1", "r0-r1"], "address": ["x2-x9", "y2-y8", "bank0-bank1"]}


def test_three_of_four_monitor_pixels_wait_for_110_ns_at_39_72_ns_each(make_board, memory, banked):
    board = make_board(memory(**LINES, access=110e-9))
    words = {"picture": banked(board, (0,)).memories["picture"].words}
    share, pixels = disturbance(board, words, 0)
    assert share == pytest.approx(110e-9 / (4 / 25.175e6))
    # Sampled in the middle of each pixel: 19.9, 59.6 and 99.3 ns are within 110 ns, 139.0 ns is not.
    assert (pixels.dtype, pixels.shape) == (np.uint8, (200, 800, 3))
    striped = (pixels == (255, 0, 255)).all(axis=2).any(axis=0).reshape(80, 10).any(axis=1)
    assert striped.reshape(20, 4).tolist() == [[True, True, True, False]] * 20


@pytest.mark.parametrize("more", [{}, {"access": 110e-9, "output": "register"}])
def test_nothing_to_show_without_access_time_or_behind_a_register(make_board, memory, banked, more):
    board = make_board(memory(**LINES, **more))
    assert disturbance(board, {"picture": banked(board, (0,)).memories["picture"].words}, 0) is None


def test_marks_are_where_the_word_changes_and_is_not_there_yet(make_board, memory):
    """The eleventh pixel of the fourth row alone is white: its word and the next are waited for, in lines 12 to 15."""
    board = make_board(memory(**LINES, access=110e-9))
    words = np.zeros(131_072, dtype=np.uint32)
    words[10 | 3 << 8] = 63
    marked = disturbed(board, {"picture": words})
    assert marked.shape == (480, 640)
    assert np.unique(np.flatnonzero(marked.any(axis=1))).tolist() == [12, 13, 14, 15]
    assert np.flatnonzero(marked[12]).tolist() == [40, 41, 42, 44, 45, 46]
