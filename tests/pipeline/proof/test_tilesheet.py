"""Tile sets on the proof: their picture, and where the screens show them."""

from collections import Counter

import numpy as np
import pytest

from ladderlight import CodedPicture, Origin, TileSet
from ladderlight.flow.merging import merge
from ladderlight.proof.scanout import Scanned
from ladderlight.proof.tilesheet import tile_sheet
from ladderlight_stages.arrangements.sheet import sheet
from ladderlight_stages.arrangements.text import text
from ladderlight_stages.arrangements.tiles import tiles as tiles_stage

LETTERS = " ABCDEFGHIJKLMNOPQRSTUVWXYZ"
GATED = ["x2-x4^map.d6", "y2-y4^map.d7", "map.d0-map.d5"]


def tiles(codes):
    count = len(codes)
    return TileSet(
        memory="tiles", codes=codes.astype(np.uint16), numbers=np.arange(count), addresses=np.arange(count)[:, None]
    )


@pytest.fixture
def map_board(make_board, memory):
    """160x120 pixels: a map of 20 by 15 places for each of four banks, and a memory of 64 tiles of 8x8 pixels."""

    def make(tile_address=GATED, map_address=("x5-x9", "y5-y8", "bank0-bank1")):
        lines = ["b0-b1", "g0-g1", "r0-r1"]
        return make_board(
            memory("map", address=list(map_address), data=["-"], part="28C16"),
            memory("tiles", address=list(tile_address), data=lines, part="2732"),
        )

    return make


def coded(codes, name="a", bank=None):
    return CodedPicture(origin=Origin(name=name, source=f"{name}.png", bank=bank), codes=codes.astype(np.uint16))


def words_of(contents):
    return {name: memory.words for name, memory in contents.memories.items()}


@pytest.mark.parametrize("tile_address", [GATED, ["x2-x4^map.d6^x5", "y2-y4^map.d7", "map.d0^y5", "map.d1-map.d5"]])
def test_each_letter_of_a_text_is_counted_where_the_map_asks_for_it(map_board, tile_address):
    """Of 20 by 15 places on each of two screens; the second wiring keeps every letter twice."""
    board = map_board(tile_address)
    letters = coded(np.random.default_rng(0).integers(0, 64, (8, 27 * 8)))
    written = {0: "MERROWHITHE", 2: "NO FERRY"}
    texts = [
        text([], board, lines=[line], characters=LETTERS, first=3, bank=bank, row=4, column=5)
        for bank, line in written.items()
    ]
    contents = merge([sheet([letters], board, first=3), *texts], board)
    expected = Counter("".join(written.values()))
    expected[" "] = 2 * 20 * 15 - sum(expected[letter] for letter in LETTERS[1:])
    scanned = Scanned(board=board, words=words_of(contents), banks=list(written), tile_sets=contents.tile_sets)
    assert scanned.places[0].tolist() == [expected[letter] for letter in LETTERS]


def test_the_tiles_of_pictures_are_counted_as_their_blocks_are(map_board):
    """Mirrored blocks count for one tile."""
    board = map_board()
    rng = np.random.default_rng(1)
    kinds = rng.integers(0, 64, (9, 8, 8))
    which = rng.integers(0, 9, (2, 15, 20))
    pictures = []
    for bank, grid in enumerate(which):
        codes = np.block([[kinds[kind][:: rng.choice([1, -1])] for kind in row] for row in grid])
        pictures.append(coded(codes, f"picture-{bank}", bank=bank))
    contents = tiles_stage(pictures, board)
    (tile_set,) = contents.tile_sets
    places = Scanned(board=board, words=words_of(contents), banks=[0, 1], tile_sets=[tile_set]).places[0]
    assert sorted(places) == sorted(np.bincount(which.ravel()))


def test_a_map_that_two_banks_share_counts_once(map_board):
    board = map_board(map_address=("x5-x9", "y5-y8"))
    contents = tiles_stage([coded(np.zeros((120, 160)))], board)
    for banks in ([0], [0, 1]):
        scanned = Scanned(board=board, words=words_of(contents), banks=banks, tile_sets=contents.tile_sets)
        assert scanned.places[0].tolist() == [300]


def test_words_that_are_burned_otherwise_count_as_they_are(map_board):
    board = map_board()
    contents = tiles_stage([coded(np.zeros((120, 160)))], board)
    words = words_of(contents)
    number = int(contents.tile_sets[0].numbers[0])
    words["map"] = np.full_like(words["map"], number ^ 1)
    words["map"][:7] = number
    assert Scanned(board=board, words=words, banks=[0], tile_sets=contents.tile_sets).places[0].tolist() == [7]


def test_tiles_stand_by_number_32_in_a_row_enlarged_on_grey(board):
    codes = np.random.default_rng(1).integers(0, 64, (70, 8, 8))
    sheet = tile_sheet(board, tiles(codes))
    assert sheet.shape == (3 * 34 + 2, 32 * 34 + 2, 3)
    assert (sheet[:2] == 0xC8).all()
    for number in (0, 31, 32, 69):
        top, left = number // 32 * 34 + 2, number % 32 * 34 + 2
        shown = sheet[top : top + 32, left : left + 32]
        assert (shown == board.palette.srgb8[codes[number]].repeat(4, axis=0).repeat(4, axis=1)).all()
    assert (sheet[2 * 34 + 2 :, 6 * 34 + 2 :] == 0xC8).all()


def test_a_set_of_one_or_none(board):
    assert tile_sheet(board, tiles(np.zeros((1, 16, 16)))).shape == (36, 36, 3)
    assert (tile_sheet(board, tiles(np.zeros((0, 8, 8)))) == 0xC8).all()
