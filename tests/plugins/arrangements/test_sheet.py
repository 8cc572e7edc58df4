"""Sprites and characters by number."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import ArrangementError
from ladderlight.board.scanning.scan import scan
from ladderlight.flow.merging import merge
from ladderlight_stages.arrangements.sheet import sheet
from ladderlight_stages.arrangements.tiles import tiles


def glyphs(columns, rows, width=8, height=8, gap=0):
    """A grid whose cell n is all of code n, and the gaps 63."""
    codes = np.full((rows * (height + gap) - gap, columns * (width + gap) - gap), 63)
    for number in range(columns * rows):
        y, x = divmod(number, columns)
        codes[y * (height + gap) : y * (height + gap) + height, x * (width + gap) : x * (width + gap) + width] = number
    return codes


def test_cells_stand_at_their_numbers(tile_board, coded):
    """The map asks for number n: the scan shows cell n, whatever the order of the tile memory's pins."""
    board = tile_board(("map.d3", "y2-y4", "map.d0-map.d2", "!x4", "x3-x2", "map.d4-map.d5"))
    contents = sheet([coded(board, codes=glyphs(6, 3))], board, first=5)
    words = {name: memory.words for name, memory in contents.memories.items()}
    words["map"] = np.arange(2048, dtype=np.uint32) % 64
    seen = scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None]).codes
    for number in range(18):
        y, x = divmod(5 + number, 32)
        assert np.all(seen[8 * y : 8 * y + 8, 8 * x : 8 * x + 8] == number) or x >= 20
    (tile_set,) = contents.tile_sets
    assert list(tile_set.numbers) == list(range(5, 23))
    assert not contents.memories["map"].written.any()


def test_a_cell_keeps_its_orientation_and_smaller_ones_get_a_margin(tile_board, coded):
    board = tile_board()
    codes = np.random.default_rng(0).integers(0, 64, (7, 5 * 3 + 2))
    contents = sheet([coded(board, codes=codes)], board, width=5, height=7, gap=1)
    tile = contents.memories["tiles"].words[64:128].reshape(8, 8) & 63
    assert np.array_equal(tile[:7, :5], codes[:, 6:11])
    assert not tile[7].any()
    assert not tile[:, 5:].any()


def test_without_a_map_the_number_is_the_bank(make_board, memory, coded, shown):
    board = make_board(
        memory(address=["x2-x4", "y2-y5", "bank0-bank5"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C512")
    )
    contents = sheet([coded(board, "set", codes=glyphs(4, 2, height=16))], board, first=2)
    for number in range(8):
        assert np.all(shown(board, contents, 2 + number) == number)
    assert [(placed.origin.name, placed.bank) for placed in contents.pictures][:2] == [
        ("set cell 2", 2),
        ("set cell 3", 3),
    ]
    with pytest.raises(ArrangementError, match="8 cells from number 60 on need 68 banks, but the wiring has 64"):
        sheet([coded(board, codes=glyphs(4, 2, height=16))], board, first=60)


def test_grids_that_cannot_be_cut(tile_board, coded):
    board = tile_board()
    with pytest.raises(ArrangementError, match=r"'a' is 17 pixels across, not a whole number of cells of 8"):
        sheet([coded(board, codes=np.zeros((8, 17)))], board)
    with pytest.raises(ArrangementError, match=r"a cell of 'a' is 16x8 pixels, but the wiring has tiles of 8x8"):
        sheet([coded(board, codes=np.zeros((8, 16)))], board, width=16)
    with pytest.raises(ArrangementError, match=r"need 66 tiles, but the map can choose among 64"):
        sheet([coded(board, codes=np.zeros((8, 16)))], board, first=64)


def test_tiles_that_are_no_rectangles(tile_board, coded):
    board = tile_board(("x2^y2", "x3^y3", "x4^y4", "map.d0-map.d5"), ("x5-x9", "y5-y8", "x2-x4"), map_part="28C64")
    with pytest.raises(ArrangementError, match="are not rectangles of neighbouring pixels"):
        sheet([coded(board, codes=np.zeros((8, 8)))], board)


def test_beside_tiles_in_one_memory(tile_board, coded, shown, mosaic):
    """The map's pictures use numbers below 40, the sheet stands from 40 on; a collision is named."""
    board = tile_board()
    codes = mosaic(board, tiles=20)
    pictures = [coded(board, "chart", codes=codes), coded(board, "marks", codes=glyphs(4, 2))]
    parts = [tiles(pictures, board, match="chart", count=40), sheet(pictures, board, match="marks", first=40)]
    merged = merge(parts, board)
    assert np.array_equal(shown(board, merged), codes)
    assert np.all(merged.memories["tiles"].words[47 * 64 : 48 * 64] & 63 == 7)
    assert [len(tile_set.codes) for tile_set in merged.tile_sets] == [20, 8]
    used = int(parts[0].tile_sets[0].numbers[0])
    with pytest.raises(
        ArrangementError, match=r"memory 'tiles', address .* arrangement stage 'tiles' and 'sheet' need"
    ):
        merge([parts[0], sheet(pictures[1:], board, first=used)], board, stages=["tiles", "sheet"])
