from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board import Board, Counters, Packing


def test_the_lowest_bits_used_give_the_pixels_size(board: Board) -> None:
    geometry = board.geometry
    assert (geometry.width, geometry.height) == (160, 120)
    assert (geometry.repeat_x, geometry.repeat_y) == (4, 4)
    assert geometry.pixel_aspect == 1


def test_wide_pixels(make_board, memory) -> None:
    geometry = make_board(memory(address=["x2-x9", "y1-y8"], data=["b0-b1", "g0-g1", "r0-r1"])).geometry
    assert (geometry.width, geometry.height) == (160, 240)
    assert geometry.pixel_aspect == 2


def test_a_slower_clock_makes_wider_pixels(make_board, memory) -> None:
    board = make_board(memory(address=["x1-x8", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]), clock="12587500")
    assert (board.geometry.width, board.geometry.height) == (160, 120)
    assert board.geometry.repeat_x == 2
    assert board.geometry.pixel_aspect == 1


def test_a_start_that_is_no_multiple_of_the_repeat_cuts_the_first_pixel(make_board) -> None:
    board = make_board(counters=Counters(x_start=2, y_start=1))
    assert board.geometry.width == 161
    assert board.x_grid.cells[:4].tolist() == [0, 0, 1, 1]
    assert board.x_grid.samples[:3].tolist() == [2, 4, 8]
    assert board.y_grid.cells[:5].tolist() == [0, 0, 0, 1, 1]


def test_counts_wrap_at_the_counters_width(make_board) -> None:
    board = make_board(counters=Counters(x_start=1020))
    assert board.x_counter.bits == 10
    assert board.x_grid.counts[:6].tolist() == [1020, 1021, 1022, 1023, 0, 1]


def test_code_bits_follow_the_data_pins(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["r1", "-", "g0", "b1", "b0", "r0", "g1"]))
    assert board.code_lines == ("r1", "g0", "b1", "b0", "r0", "g1")
    assert board.palette.volts[1].tolist() == pytest.approx([19950 / 44173, 0, 0])  # r1: 715 ohm, by Millman's theorem
    assert board.palette.volts[8].tolist() == pytest.approx([0, 0, 10725 / 44173])  # b0: 1330 ohm


def test_banks_are_counted_by_the_bank_lines_that_are_wired(make_board, memory, board: Board) -> None:
    assert board.bank_count == 4
    alone = make_board(memory(address=["x2-x9", "y2-y8", "bank1"], data=["b0-b1", "g0-g1", "r0-r1"]))
    assert alone.bank_count == 2
    assert alone.bank_levels([0, 1]).tolist() == [0b00, 0b10]
    split = make_board(
        memory("low", address=["x2-x9", "y2-y8", "bank3"], data=["b0-b1", "g0-g1"]),
        memory("high", address=["x2-x9", "y2-y8", "!bank1", "bank3"], data=["r0-r1"]),
    )
    assert split.bank_lines == (1, 3)
    assert split.bank_levels(np.arange(split.bank_count)).tolist() == [0b0000, 0b0010, 0b1000, 0b1010]
    none = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    assert none.bank_count == 1


def tile_board(make_board, memory) -> Board:
    return make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
    )


def test_memories_are_ordered_by_who_addresses_whom(make_board, memory) -> None:
    board = tile_board(make_board, memory)
    assert board.sources == {"tile": ("map",), "map": ()}
    assert [memory.name for memory in board.order] == ["map", "tile"]
    assert (board.geometry.width, board.geometry.height) == (640, 480)


def test_a_named_line_is_resolved_to_the_pin_that_drives_it(make_board, memory) -> None:
    board = make_board(
        memory("colours", address=["index0-index3"], data=["b0-b1", "g0-g1", "r0-r1"], part="2716"),
        memory("picture", address=["x2-x9", "y2-y8"], data=["-", "index0-index3"]),
    )
    assert board.outputs["index0"].memory == "picture"
    assert board.outputs["index0"].index == 1
    assert board.sources["colours"] == ("picture",)


def test_packing_makes_pixels_narrower_than_words(make_board, memory, ladder) -> None:
    board = make_board(
        memory(address=["x3-x9", "y2-y8"], data=["v0"], part="27C256", packing=Packing(pixels=8)),
        ladder=ladder(grey={"v0": 150.0}),
    )
    assert board.geometry.width == 640
    assert board.geometry.repeat_x == 1


def test_devices_are_those_of_all_memories(make_board, memory) -> None:
    board = make_board(
        memory("low", address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1"], part="27C256"),
        memory("high", address=["x2-x9", "y2-y8", "bank0"], data=["r0-r1"], part="27C256", chips=2),
    )
    assert [device.name for device in board.devices] == ["low", "high-0", "high-1"]


def test_packed_tiles_take_their_pixel_from_below_the_maps_bits(make_board, memory, ladder, packing) -> None:
    board = make_board(
        memory("tile", address=["y0-y2", "map.d0-map.d7"], data=["v0"], part="2716", packing=packing(pixels=8)),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
        ladder=ladder(grey={"v0": 150.0}),
    )
    assert board.first_select_bit(board.memory("tile")) == 0
    assert (board.geometry.width, board.geometry.height) == (640, 480)
