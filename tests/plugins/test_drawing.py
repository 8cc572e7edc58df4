"""Colours of cards."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ladderlight import Board
from ladderlight.colour.spaces import oklab_from_linear
from ladderlight.testing import small_board
from ladderlight_stages.drawing import codes_of_shares, distinct_codes, fair_codes


def test_of_codes_with_one_colour_the_lowest_is_taken(make_board: Callable, ladder: Callable) -> None:
    # 100 and 110 ohm drive the guns to their peak and beyond: three of the four codes are white
    board = make_board(ladder=ladder(grey={"r0": 110.0, "r1": 100.0}), check=False)
    seen = distinct_codes(board)
    assert np.array_equal(board.palette.drive[seen], np.unique(board.palette.drive, axis=0))
    assert seen.tolist() == [0, 1]


def test_a_fair_choice_begins_with_black_and_white_and_goes_on_with_what_is_farthest() -> None:
    board = small_board()
    codes = fair_codes(board, 9)
    assert board.palette.linear[codes[0]].max() == 0
    assert board.palette.linear[codes[1]].min() == board.palette.linear.max()
    looks = oklab_from_linear(board.palette.linear)
    for index in range(2, 9):
        to_chosen = [min(np.linalg.norm(look - looks[code]) for code in codes[:index]) for look in looks]
        assert to_chosen[codes[index]] == pytest.approx(max(to_chosen), abs=1e-6)
    assert fair_codes(board, 5).tolist() == codes[:5].tolist()


def test_a_fair_choice_of_all_is_all() -> None:
    assert sorted(fair_codes(small_board(), 99).tolist()) == list(range(64))


def test_shares_follow_the_levels_of_independent_guns() -> None:
    board = small_board()
    lattice = board.palette.lattice
    assert lattice is not None
    shares = np.random.default_rng(3).random((40, 50, 3))
    codes = codes_of_shares(board, shares)
    expected = sum(lattice.codes[gun][(shares[..., gun] * 4).astype(int)] for gun in range(3))
    assert np.array_equal(codes, expected)


def test_even_shares_make_all_colours_about_as_frequent(boards: dict[str, Board]) -> None:
    board = boards["shared intensity"]
    codes = codes_of_shares(board, np.random.default_rng(3).random((200, 200, 3)))
    counts = np.bincount(codes.ravel())
    counts = counts[counts > 0]
    assert len(counts) == len(distinct_codes(board))
    assert counts.min() > 0.9 * counts.mean()
    assert counts.max() < 1.1 * counts.mean()
