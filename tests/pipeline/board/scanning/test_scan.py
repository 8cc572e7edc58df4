from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board import Packing
from ladderlight.board.scanning.scan import addresses, addresses_by_bank, is_direct, scan

RGB64_DATA = ["b0-b1", "g0-g1", "r0-r1"]


def at(board, x: int, y: int, bank: int = 0, memory: str = "picture") -> int:
    address, _ = addresses(board, board.memory(memory), x, y, bank)
    return int(address)


def test_counter_bits_form_the_address(board) -> None:
    assert at(board, 0, 0) == 0
    assert at(board, 3, 3) == 0  # the pixel is four counts wide and high
    assert at(board, 4, 0) == 1
    assert at(board, 636, 476) == 119 * 256 + 159
    assert at(board, 4, 4, bank=3) == 3 << 15 | 256 | 1


def test_any_order_gaps_constants_and_repeated_bits(make_board, memory) -> None:
    board = make_board(memory(address=["y2", "high", "x9-x2", "low", "y3-y8", "x2"], data=RGB64_DATA, part="27C020"))
    # y2 is A0 and high A1; x2, the last of x9-x2, is A9 and once more A17
    assert at(board, 4, 4) == 1 << 0 | 1 << 1 | 1 << 9 | 1 << 17
    assert at(board, 512, 0) == 1 << 1 | 1 << 2


def test_gates(make_board, memory) -> None:
    board = make_board(memory(address=["x2^y2", "!x3", "x4-x9", "y2-y8"], data=RGB64_DATA))
    assert at(board, 4, 0) & 3 == 0b11
    assert at(board, 4, 4) & 3 == 0b10
    assert at(board, 8, 4) & 3 == 0b01
    assert at(board, 12, 0) & 3 == 0b01


def test_counts_broadcast(board) -> None:
    address, slot = addresses(board, board.memory("picture"), np.arange(8)[None, :], np.arange(12)[:, None], 0)
    assert address.shape == slot.shape == (12, 8)
    assert address[4].tolist() == [256] * 4 + [257] * 4


def test_packed_pixels_leave_in_order(make_board, memory, ladder) -> None:
    word = 0b11100100
    for order, codes in (("msb_first", [3, 2, 1, 0]), ("lsb_first", [0, 1, 2, 3])):
        board = make_board(
            memory(address=["x3-x9", "y2-y8"], data=["v0-v1"], part="27C256", packing=Packing(pixels=4, order=order)),
            ladder=ladder(grey={"v0": 300.0, "v1": 150.0}),
        )
        words = {"picture": np.full(32_768, word, dtype=np.uint32)}
        result = scan(board, words, np.arange(16), 0)
        assert result.codes.tolist() == [code for code in codes for _ in range(2)] * 2
        assert result.slots["picture"].tolist() == [0, 0, 1, 1, 2, 2, 3, 3] * 2


def test_a_map_chooses_tiles_and_mirrors_them(make_board, memory, ladder) -> None:
    board = make_board(
        memory("tile", address=["x0-x2^map.d7", "y0-y2", "map.d0-map.d6"], data=["v0-v7"], part="28C64"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
        ladder=ladder(grey={f"v{bit}": 100.0 * 2 ** (7 - bit) for bit in range(8)}),
    )
    tiles = np.zeros(8192, dtype=np.uint32)
    tiles[5 * 64 : 6 * 64] = np.arange(64)
    map_words = np.zeros(8192, dtype=np.uint32)
    map_words[1] = 5  # column 1 of the map's row 0
    map_words[2] = 5 | 0x80
    result = scan(board, {"tile": tiles, "map": map_words}, np.arange(24), 3)
    assert result.codes.tolist() == [0] * 8 + [24, 25, 26, 27, 28, 29, 30, 31] + [31, 30, 29, 28, 27, 26, 25, 24]
    assert result.addresses["map"].tolist() == [0] * 8 + [1] * 8 + [2] * 8
    assert result.addresses["tile"][8] == 5 * 64 + 24
    assert not is_direct(board, board.memory("tile"))


def test_planes_join_into_one_code(make_board, memory) -> None:
    board = make_board(
        memory("low", address=["x2-x9", "y2-y8"], data=["b0", "g0", "r0"], part="27C256"),
        memory("high", address=["y2-y8", "x2-x9"], data=["b1", "g1", "r1"], part="27C256"),
    )
    low, high = np.zeros(32_768, dtype=np.uint8), np.zeros(32_768, dtype=np.uint8)
    low[1], high[1 << 7] = 0b101, 0b010  # both at pixel (1, 0)
    result = scan(board, {"low": low, "high": high}, np.arange(0, 12, 4), 0)
    assert board.code_lines == ("b0", "g0", "r0", "b1", "g1", "r1")
    assert result.codes.tolist() == [0, 0b010101, 0]


@pytest.mark.parametrize("bank", [0, 1, 2, 3])
def test_banks_choose_their_part(board, bank: int) -> None:
    words = np.repeat(np.arange(4, dtype=np.uint32) * 5, 32_768)
    result = scan(board, {"picture": words}, np.arange(640)[None, :], np.arange(480)[:, None], bank)
    assert np.unique(result.codes).tolist() == [bank * 5]


@pytest.mark.parametrize("wires", [("x2-x9", "y2-y8", "bank0-bank1"), ("x2^bank1", "x3-x9", "!y2", "y3-y8", "!bank0")])
def test_addresses_by_bank_are_those_of_each_bank(make_board, memory, wires) -> None:
    board = make_board(memory(address=list(wires), data=RGB64_DATA), check=False)
    (only,) = board.memories
    x, y = board.x_grid.samples[None, :], board.y_grid.samples[:, None]
    of = addresses_by_bank(board, only, x, y)
    for bank in range(board.bank_count):
        for found, expected in zip(of(bank), addresses(board, only, x, y, bank), strict=True):
            np.testing.assert_array_equal(found, expected)
