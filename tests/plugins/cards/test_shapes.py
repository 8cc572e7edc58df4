"""The test cards, by what they show."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from ladderlight import Board, Origin
from ladderlight.board import Counters
from ladderlight.testing import RecipeError, run_stage, small_board
from ladderlight_stages.cards.bars import bars
from ladderlight_stages.cards.border import border
from ladderlight_stages.cards.checkers import checkers
from ladderlight_stages.cards.codes import codes
from ladderlight_stages.cards.lines import lines
from ladderlight_stages.cards.number import number
from ladderlight_stages.cards.ramps import ramps
from ladderlight_stages.lettering import glyphs

BoardMaker = Callable[..., Board]
CARDS = (bars, border, checkers, codes, lines, number, ramps)


def drawn(card: Callable, board: Board, bank: int = 0) -> NDArray[np.int64]:
    return run_stage(card, None, board, origin=Origin(name="card", source="card", bank=bank)).codes.astype(np.int64)


def bars_in(row: NDArray[np.int64]) -> list[int]:
    """The codes of a row of bars, each once."""
    return row[np.flatnonzero(np.diff(row, prepend=-1))].tolist()


def outline(board: Board) -> NDArray[np.float64]:
    """Where the border card is lit inside the frame and outside the cross and marks: x and y in pixels."""
    lit = drawn(border, board) != board.palette.black_code
    height, width = lit.shape
    y, x = np.nonzero(lit)
    x, y = x - (width - 1) / 2, y - (height - 1) / 2
    ring = (np.abs(x) > 1) & (np.abs(y) > 1) & (np.hypot(x / width, y / height) < 0.45)
    return np.stack([x[ring], y[ring]])


def test_bars_are_all_colours_in_the_order_of_their_codes(board: Board) -> None:
    picture = drawn(bars, board)
    assert [bars_in(picture[row]) for row in (0, 31, 61, 119)] == [
        list(range(start, start + 16)) for start in (0, 16, 32, 48)
    ]
    counts = np.bincount(picture.ravel(), minlength=64)
    assert set(counts.tolist()) == {10 * 30}


def test_bars_of_many_colours_are_64_of_them(boards: dict[str, Board]) -> None:
    found = np.unique(drawn(bars, boards["256 colours"]))
    assert len(found) == 64
    assert (found[0], found[-1]) == (0, 255)


def test_few_bars_stand_in_one_row(boards: dict[str, Board]) -> None:
    picture = drawn(bars, boards["eight colours"])
    assert bars_in(picture[0]) == list(range(8))
    assert (picture == picture[0]).all()


def test_ramps_are_each_guns_levels_then_grey(board: Board) -> None:
    picture = drawn(ramps, board)
    blue, green, red = 1, 4, 16
    rows = [bars_in(picture[row]) for row in (0, 30, 60, 119)]
    assert rows == [[gun * level for level in range(4)] for gun in (red, green, blue, red + green + blue)]


def test_ramps_of_greys_are_one_row(boards: dict[str, Board]) -> None:
    picture = drawn(ramps, boards["grey 4"])
    assert bars_in(picture[0]) == [0, 1, 2, 3]
    assert (picture == picture[0]).all()


def test_ramps_with_a_shared_line_have_each_level_as_pure_as_it_can_be(boards: dict[str, Board]) -> None:
    blue, green, red, all_guns = 1, 2, 4, 8
    picture = drawn(ramps, boards["shared intensity"])
    height = len(picture)
    rows = [bars_in(picture[at]) for at in (0, height // 4 + 1, height // 2 + 1, height - 1)]
    assert rows == [[0, all_guns, gun, all_guns + gun] for gun in (red, green, blue, red + green + blue)]


def test_codes_are_all_in_a_grid(board: Board) -> None:
    picture = drawn(codes, board)
    for code in range(64):
        row, column = divmod(code, 8)
        assert (picture[15 * row : 15 * row + 15, 20 * column : 20 * column + 20] == code).all()


def test_codes_that_are_more_than_the_pixels_are_refused(boards: dict[str, Board]) -> None:
    message = r"65,536 codes in 256 columns and 256 rows are more than 160x120 pixels can show; use the card bars"
    with pytest.raises(RecipeError, match=message):
        drawn(codes, boards["16-bit codes"])


def test_codes_that_are_more_than_the_look_up_memory_holds_are_refused(make_board: BoardMaker, memory) -> None:
    pixels = memory("pixels", address=["x2-x9", "y2-y8"], data=["-"])
    table = memory("table", address=["pixels.d0-pixels.d3"], data=["b0-b1", "g0-g1", "r0-r1"])
    board = make_board(pixels, table)
    with pytest.raises(RecipeError, match="64 codes are more than the 16 that the look-up memory holds"):
        drawn(codes, board)
    assert len(np.unique(drawn(bars, board))) == 16


def test_lines_are_lit_one_at_a_time_between_none_and_all(board: Board) -> None:
    picture = drawn(lines, board)
    assert bars_in(picture[0]) == [0, 1, 2, 4, 8, 16, 32, 63]
    assert (picture == picture[0]).all()


@pytest.mark.parametrize("name", ["lattice", "grey 4", "shared intensity"])
def test_checkers_differ_from_their_neighbours_in_every_line(name: str, boards: dict[str, Board]) -> None:
    board = boards[name]
    picture = drawn(checkers, board)
    every = len(board.palette) - 1
    assert (picture[1:] ^ picture[:-1] == every).all()
    assert (picture[:, 1:] ^ picture[:, :-1] == every).all()


def test_number_is_the_bank_in_the_drawn_digits(board: Board) -> None:
    """Dots of 13 pixels: 0.8 of 120 pixels for 7 dots."""
    picture = drawn(number, board, bank=2) == 63
    rows, columns = np.flatnonzero(picture.any(axis=1)), np.flatnonzero(picture.any(axis=0))
    figure = picture[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    digit = glyphs()["2"]
    digit = digit[digit.any(axis=1)][:, digit.any(axis=0)]
    assert np.array_equal(figure, np.kron(digit, np.ones((13, 13), dtype=bool)))
    assert abs(rows[0] + rows[-1] - 119) <= 13


def test_number_of_two_digits_fits_the_width(board: Board) -> None:
    columns = np.flatnonzero((drawn(number, board, bank=88) == 63).any(axis=0))
    assert 0.5 * 160 < columns[-1] - columns[0] + 1 <= 0.8 * 160


def test_dots_of_the_number_are_about_square_on_the_screen(wide_pixels: Board) -> None:
    """Pixels of 2 by 1: the dots are 6 across and 13 down."""
    picture = drawn(number, wide_pixels, bank=1) == 63
    stem = picture.sum(axis=0).max() // 13
    assert picture.any(axis=1).sum() == 7 * 13
    assert stem == 7
    assert np.diff(np.flatnonzero(np.diff(picture[13 * 3 + 20].astype(int)))).tolist() == [6]


@pytest.mark.parametrize("mode", ["640x480@60", "800x600@60"])
def test_the_circle_is_round_within_a_pixel(mode: str, make_board: BoardMaker, memory, wide_pixels: Board) -> None:
    clock = {"640x480@60": "25175000", "800x600@60": "40000000"}[mode]
    square = make_board(
        memory(address=["x2-x9", "y2-y9"], data=["b0-b1", "g0-g1", "r0-r1"]), mode=mode, clock=clock, check=False
    )
    for board in (square, wide_pixels):
        x, y = outline(board)
        aspect = board.geometry.pixel_aspect
        radius = 0.4 * min(board.geometry.width * aspect, board.geometry.height)
        off = np.abs(np.hypot(x * aspect, y) - radius)
        assert len(x) > 100
        assert off.max() <= max(1, aspect)
        # As wide as it is high, to the pixel, on the screen.
        assert abs(np.ptp(x) * aspect - np.ptp(y)) <= 1 + aspect


def test_the_border_has_a_frame_a_cross_and_marks_that_differ(board: Board) -> None:
    lit = drawn(border, board) == 63
    assert lit[0].all() and lit[-1].all() and lit[:, 0].all() and lit[:, -1].all()
    assert not lit[1, 1:-1].any() and not lit[1:-1, 1].any()
    assert lit[59:61, 60:100].all() and lit[45:75, 79:81].all()
    corners = [lit[1:20, 1:50], lit[1:20, -50:-1], lit[-20:-1, -50:-1], lit[-20:-1, 1:50]]
    assert [int(corner.sum()) // 25 for corner in corners] == [1, 2, 3, 4]


@pytest.mark.parametrize("card", CARDS)
def test_every_card_can_be_drawn_on_every_board_or_says_why_not(card: Callable, boards: dict[str, Board]) -> None:
    for name, board in [*boards.items(), ("small", small_board())]:
        try:
            picture = drawn(card, board)
        except RecipeError:
            assert (card, name) == (codes, "16-bit codes")
            continue
        assert picture.shape == (board.geometry.height, board.geometry.width)
        assert picture.max() < len(board.palette)


def test_areas_begin_where_the_cells_of_a_tile_map_do(make_board: BoardMaker, memory) -> None:
    """The counters start at 3 and 2, so that the first cell has 5 columns and 6 rows."""
    cells = memory("cells", address=["x5-x9", "y5-y8"], data=["-"], part="27C256")
    tiles = memory("tiles", address=["x2-x4", "y2-y4", "cells.d0-cells.d5"], data=["b0-b1", "g0-g1", "r0-r1"])
    board = make_board(cells, tiles, counters=Counters(x_start=12, y_start=8))
    picture = drawn(bars, board)
    edges = np.flatnonzero(np.diff(picture[0])) + 1
    assert len(edges) == 15
    assert set((edges % 8).tolist()) == {5}
    assert set(((np.flatnonzero(np.diff(picture[:, 0])) + 1) % 8).tolist()) == {6}
    places = np.stack(np.broadcast_arrays((np.arange(120) + 2)[:, None] // 8, (np.arange(160) + 3)[None] // 8), -1)
    for place in np.unique(places.reshape(-1, 2), axis=0):
        assert len(np.unique(picture[(places == place).all(axis=-1)])) == 1
