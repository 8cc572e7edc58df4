"""Text in a tile map."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import ArrangementError
from ladderlight.flow.merging import merge
from ladderlight_stages.arrangements.sheet import sheet
from ladderlight_stages.arrangements.text import text

LETTERS = " ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@pytest.fixture
def font(coded):
    """27 cells of 8x8, cell n all random but for its corner, which holds n."""

    def make(board):
        codes = np.random.default_rng(0).integers(0, 64, (8, 27 * 8))
        codes[0, ::8] = np.arange(27)
        return coded(board, "font", codes=codes)

    return make


@pytest.mark.parametrize(
    "tile_address",
    [
        ("x2-x4^map.d6", "y2-y4^map.d7", "map.d0-map.d5"),
        ("x2-x4^map.d6^x5", "y2-y4^map.d7", "map.d0^y5", "map.d1-map.d5"),
        ("map.d5", "!x4-x3", "x2", "y4-y2", "map.d4-map.d0"),
    ],
)
def test_the_scan_shows_each_letter_upright_in_its_place(tile_board, font, shown, tile_address):
    board = tile_board(tile_address)
    letters = font(board)
    parts = [
        sheet([letters], board, first=3),
        text([], board, lines=["MERROW", " HITHE"], characters=LETTERS, first=3, bank=2, row=4, column=5),
    ]
    contents = merge(parts, board)
    seen = shown(board, contents, 2)
    expected = [[LETTERS.index(" ")] * 20 for _ in range(15)]
    for down, line in enumerate(["MERROW", " HITHE"], start=4):
        for across, letter in enumerate(line, start=5):
            expected[down][across] = LETTERS.index(letter)
    whole = np.block([[letters.codes[:, 8 * number : 8 * number + 8] for number in row] for row in expected])
    assert np.array_equal(seen, whole)
    assert [(placed.origin.name, placed.bank) for placed in contents.pictures] == [("text of bank 2", 2)]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"lines": ["A" * 21]}, "ends in row 1, column 21, but the map has 15 rows of 20"),
        ({"lines": ["A"], "row": 15}, "line 1 of the text, 'A', ends in row 16"),
        ({"lines": ["a"]}, "the text uses 'a', which is not among the characters"),
        ({"lines": ["A"], "around": ""}, "around = '' is not one character; write one"),
        ({"lines": ["A"], "bank": 4}, "bank = 4 does not exist; use 0 to 3"),
        ({"lines": ["Z"], "first": 40}, "'Z' would have a number beyond the 64 tiles"),
    ],
)
def test_mistakes(tile_board, options, message):
    with pytest.raises(ArrangementError, match=message):
        text([], tile_board(), characters=LETTERS, **options)


def test_boards_without_a_map(board):
    with pytest.raises(ArrangementError, match="the board has no tile map to write text into"):
        text([], board, lines=["A"])
