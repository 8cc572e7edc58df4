from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board import Board, Placement
from ladderlight.board.scanning.lookup import LookupFull, lookup_of, table_addresses
from ladderlight.board.scanning.scan import scan

DATA = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.fixture
def sixteen_colours(make_board, memory) -> Board:
    """160x120 pixels, each with one of 16 colours of 64, in four banks with colours of their own."""
    return make_board(
        memory(
            "colour",
            address=["picture.d1", "picture.d0", "!bank0-bank1", "picture.d2-picture.d3"],
            data=DATA,
            part="2716",
        ),
        memory("picture", address=["x2-x9", "y2-y8", "bank0-bank1"], data=[]),
    )


def picture_of(colours: list[int], seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).choice(np.array(colours, dtype=np.uint16), (120, 160))


def seen(board: Board, placement: Placement, bank: int) -> np.ndarray:
    words = {name: words for name, (words, _) in placement.words().items()}
    return scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank).codes


def test_banks_of_lines_with_a_gap_have_colours_of_their_own(make_board, memory) -> None:
    board = make_board(
        memory("colour", address=["picture.d0-picture.d3", "bank4", "!bank1"], data=DATA, part="2716"),
        memory("picture", address=["x2-x9", "y2-y8", "bank1", "bank4"], data=[]),
    )
    placement = Placement(board=board)
    pictures = [picture_of(list(range(16 * bank, 16 * bank + 16)), seed=bank) for bank in range(4)]
    for bank, codes in enumerate(pictures):
        placement.put_codes(codes, bank=bank, picture=f"p{bank}")
    for bank, codes in enumerate(pictures):
        assert np.array_equal(seen(board, placement, bank), codes)


def test_the_index_is_what_addresses_the_tables(sixteen_colours: Board) -> None:
    lookup = lookup_of(sixteen_colours)
    assert lookup is not None
    assert lookup.pins == (("picture", 0), ("picture", 1), ("picture", 2), ("picture", 3))
    assert lookup.size == 16
    assert [memory.name for memory in lookup.sources] == ["picture"]
    (table,) = lookup.tables
    # A0 is d1, A1 is d0, A2 is not bank0, A3 not bank1, A4 and A5 are d2 and d3
    assert table_addresses(sixteen_colours, lookup, table, 0)[:5].tolist() == [12, 14, 13, 15, 28]
    assert table_addresses(sixteen_colours, lookup, table, 1)[:2].tolist() == [8, 10]


def test_boards_without_look_up(board, make_board, memory) -> None:
    assert lookup_of(board) is None
    tiles = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
    )
    assert lookup_of(tiles) is None


def test_each_bank_has_colours_of_its_own(sixteen_colours: Board) -> None:
    placement = Placement(board=sixteen_colours)
    pictures = [picture_of(list(range(start, start + 16)), start) for start in (0, 16, 32, 48)]
    for bank, picture in enumerate(pictures):
        placement.put_codes(picture, bank=bank, picture=f"p{bank}")
    for bank, picture in enumerate(pictures):
        assert np.array_equal(seen(sixteen_colours, placement, bank), picture)
    words, written = placement.words()["colour"]
    assert (written != 0).sum() == 64
    assert sorted((words[written != 0] & 0x3F).tolist()) == list(range(64))
    assert set(np.unique(placement.words()["picture"][1])) == {0, 0x0F}


def test_too_many_colours(sixteen_colours: Board) -> None:
    with pytest.raises(LookupFull, match="17 colours are needed, and the look-up memory holds 16"):
        Placement(board=sixteen_colours).put_codes(picture_of(list(range(17))), bank=0, picture="p")


def test_banks_that_share_the_table_share_its_colours(make_board, memory) -> None:
    board = make_board(
        memory("colour", address=["picture.d0-picture.d1"], data=DATA, part="2716"),
        memory("picture", address=["x2-x9", "y2-y8", "bank0-bank1"], data=[]),
    )
    placement = Placement(board=board)
    first, second = picture_of([5, 9]), picture_of([9, 5, 33, 60])
    placement.put_codes(first, bank=0, picture="first")
    placement.put_codes(second, bank=1, picture="second")
    assert np.array_equal(seen(board, placement, 0), first)
    assert np.array_equal(seen(board, placement, 1), second)
    assert (placement.words()["colour"][0][:4] & 0x3F).tolist() == [5, 9, 33, 60]
    with pytest.raises(LookupFull):
        placement.put_codes(picture_of([1]), bank=2, picture="third")


def test_planes_and_two_tables(make_board, memory) -> None:
    board = make_board(
        memory("warm", address=["p0", "p1", "p2"], data=["r0-r1"], part="2716"),
        memory("cold", address=["p2", "p0^p1", "!p1"], data=["g0-g1", "b0-b1"], part="2716"),
        memory("low", address=["x2-x9", "y2-y8"], data=["p0", "p1"], part="27C256"),
        memory("high", address=["y2-y8", "x2-x9"], data=["-", "p2"], part="27C256"),
    )
    placement = Placement(board=board)
    picture = picture_of([0, 7, 21, 22, 40, 41, 62, 63])
    placement.put_codes(picture, bank=0, picture="p")
    assert np.array_equal(seen(board, placement, 0), picture)


def test_indices_that_share_an_entry_are_not_told_apart(make_board, memory) -> None:
    """With one exclusive-or gate for two pins, four indices lead to two entries."""
    board = make_board(
        memory("colour", address=["picture.d0^picture.d1"], data=DATA, part="2716"),
        memory("picture", address=["x2-x9", "y2-y8"], data=[]),
    )
    placement = Placement(board=board)
    picture = picture_of([3, 48])
    placement.put_codes(picture, bank=0, picture="p")
    assert np.array_equal(seen(board, placement, 0), picture)
    with pytest.raises(LookupFull):
        Placement(board=board).put_codes(picture_of([1, 2, 3]), bank=0, picture="p")
