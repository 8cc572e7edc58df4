"""Colour look-up: numbers in the picture memory, colours in the look-up memory."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import ArrangementError
from ladderlight_stages.arrangements.lookup import lookup


@pytest.fixture
def lookup_board(make_board, memory):
    def make(extra=(), *, index="picture.d0-picture.d3"):
        return make_board(
            memory("picture", address=["x2-x9", "y2-y8", "bank0"], data=["-"], part="27C512"),
            memory("colours", address=[index, *extra], data=["b0-b1", "g0-g1", "r0-r1"], part="28C16"),
        )

    return make


def painted(board, colours, seed=0):
    shape = (board.geometry.height, board.geometry.width)
    return np.array(colours)[np.random.default_rng(seed).integers(0, len(colours), shape)]


def test_pictures_share_the_colours(lookup_board, coded, shown, banks):
    board = lookup_board()
    pictures = [
        coded(board, "a", codes=painted(board, range(10))),
        coded(board, "b", codes=painted(board, range(4, 16))),
    ]
    contents = lookup(pictures, board)
    for picture in pictures:
        assert np.array_equal(shown(board, contents, banks(contents)[picture.origin.name]), picture.codes)
    assert int(np.count_nonzero(contents.memories["colours"].written)) == 16
    assert contents.notes == ("memory 'colours': 16 unique words; there is room for 16",)


def test_by_hand(lookup_board, coded):
    """One colour at one pixel: its number in the picture memory is where the look-up memory holds its code."""
    board = lookup_board()
    codes = np.full((120, 160), 0o07)
    codes[2, 3] = 0o52
    contents = lookup([coded(board, codes=codes)], board)
    number = int(contents.memories["picture"].words[0x0203]) & 15
    assert contents.memories["colours"].words[number] & 63 == 0o52
    assert contents.memories["picture"].written[0x0203] == 15
    assert contents.memories["colours"].words[int(contents.memories["picture"].words[0]) & 15] & 63 == 0o07


def test_bank_lines_give_each_picture_colours_of_its_own(lookup_board, coded, shown):
    board = lookup_board(["bank0"])
    pictures = [
        coded(board, "a", codes=painted(board, range(16))),
        coded(board, "b", codes=painted(board, range(16, 32))),
    ]
    contents = lookup(pictures, board)
    for bank, picture in enumerate(pictures):
        assert np.array_equal(shown(board, contents, bank), picture.codes)


def test_gates_in_the_index(lookup_board, coded, shown):
    board = lookup_board(index="picture.d3-picture.d1^picture.d0")
    assert len(board.memory("colours").address) == 3
    codes = painted(board, range(8))
    contents = lookup([coded(board, codes=codes)], board)
    assert np.array_equal(shown(board, contents), codes)


def test_too_many_colours_are_merged_with_near_ones(lookup_board, coded, shown):
    """17 colours, one of them a single pixel: that one takes the nearest other colour, all others stay."""
    board = lookup_board()
    codes = painted(board, [*range(0, 60, 4), 63])
    codes[0, 0] = 62  # nearest to 63, which differs in the lowest blue bit
    contents = lookup([coded(board, codes=codes)], board)
    seen = shown(board, contents)
    assert np.array_equal(seen.ravel()[1:], codes.ravel()[1:])
    assert len(np.unique(codes)) == 17
    with pytest.raises(ArrangementError, match="17 unique tiles are needed"):
        lookup([coded(board, codes=codes)], board, merge=False)


def test_other_boards_are_sent_elsewhere(board, coded, tile_board):
    with pytest.raises(ArrangementError, match="so the board has no colour look-up; use bank_pictures"):
        lookup([coded(board)], board)
    with pytest.raises(ArrangementError, match="so it holds tiles and not colours; use tiles"):
        lookup([coded(tile_board())], tile_board())
