from __future__ import annotations

import pytest

from ladderlight.board.advice.wiring import twins

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def test_square_pixels_that_all_have_words_are_passed_over(board, said) -> None:
    assert twins(board) is None
    assert said(board, "picture") == []


def test_a_missing_x_bit(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x8", "y2-y8"], data=DATA))
    assert twins(board) == ((0, 0), (128, 0), 32 * 120)
    (finding,) = said(board, "picture")
    assert finding.level == "caution"
    assert "3,840 of 160x120 pixels have no word of their own" in finding.message
    assert "(128, 0) always shows what (0, 0) shows; wire x9 too" in finding.message
    assert "or use larger pixels: x3-x9 gives 80x120 2:1 pixels" in finding.message


def test_a_missing_y_bit_in_the_middle(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y4", "y6-y8"], data=DATA))
    (finding,) = said(board, "picture")
    assert "(0, 8) always shows what (0, 0) shows; wire y5 too" in finding.message


def test_gates_that_fold_the_picture(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2^x9", "x3-x8", "y2-y8", "x9^x2"], data=DATA))
    (finding,) = said(board, "picture")
    assert "check the gates and constants" in finding.message


def test_tiles_count_by_what_the_counters_choose(make_board, memory, said) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
    )
    assert twins(board) is None


def test_packed_pixels_are_pixels_of_their_own(make_board, memory, ladder, packing) -> None:
    board = make_board(
        memory(address=["x3-x9", "y2-y8"], data=["v0"], part="27C256", packing=packing(pixels=8)),
        ladder=ladder(grey={"v0": 150.0}),
    )
    assert twins(board) is None


@pytest.mark.parametrize(
    ("address", "clock", "text"),
    [
        (
            ["x2-x9", "y1-y8"],
            "25175000",
            "pixels are 2 times as wide as high, which the resize stage allows for; for square pixels start x at x1 "
            "(320x240 square pixels, 1 more address line) or y at y2 (160x120 square pixels, 1 fewer address line)",
        ),
        (
            ["x1-x9", "y3-y8"],
            "25175000",
            "pixels are 0.25 times as wide as high, which the resize stage allows for; for square pixels start y at y1 "
            "(320x240 square pixels, 2 more address lines) or x at x3 (80x60 square pixels, 2 fewer address lines)",
        ),
        (
            ["x1-x8", "y2-y9"],
            "14000000",
            "pixels are 0.899 times as wide as high, which the resize stage allows for; no other counter bits bring "
            "them closer to square; choose another clock or mode",
        ),
    ],
)
def test_pixels_that_are_not_square(make_board, memory, said, address: list[str], clock: str, text: str) -> None:
    board = make_board(memory(address=address, data=DATA, part="27C020"), clock=clock)
    (finding,) = said(board, "picture")
    assert finding.level == "note"
    assert finding.message == text


def last(found):
    return found[-1].level, found[-1].message


def test_no_pin_left_over(board, said) -> None:
    assert not [finding for finding in said(board, "memory picture") if "left over" in finding.message]


def test_pins_that_could_choose_more_banks(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8", "bank0"], data=DATA, part="27C020"))
    assert last(said(board, "memory picture")) == (
        "note",
        "address pins A16 to A17 are left over; tie them to ground, wire bank1 to bank2 there for 8 banks instead of 2 "
        "or use a 27C512",
    )


def test_one_pin(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, part="27C512"))
    assert last(said(board, "memory picture")) == (
        "note",
        "address pin A15 is left over; tie it to ground, wire bank0 there for 2 banks instead of 1 or use a 27C256",
    )


def test_a_tied_pin_could_choose_a_bank(make_board, memory, said) -> None:
    board = make_board(memory(address=["x3-x9", "y3-y8", "low"], data=DATA, part="27128"))
    assert last(said(board, "memory picture")) == (
        "note",
        "address pin A13 is tied, so 8,192 of 16,384 words are never read; wire bank0 there for 2 banks instead "
        "of 1 or use a 2764",
    )


def test_lines_between_those_that_are_wired_are_offered_first(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8", "bank1"], data=DATA, part="27C020"))
    assert "wire bank0 and bank2 there for 8 banks instead of 2" in last(said(board, "memory picture"))[1]


def test_a_smaller_part_is_of_the_same_kind(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, part="29F040"))
    assert "use a 29F010" in last(said(board, "memory picture"))[1]


def test_a_smaller_part_is_one_that_is_sold_fast_enough(make_board, memory, said) -> None:
    """Words are held four counts of 39.72 ns, 158.9 ns: a 2764 is sold from 150 ns on, a 2732 from 200 ns."""
    board = make_board(memory(address=["x2-x9", "y4-y8"], data=DATA, part="27C256", access=120e-9))
    assert "use a 2764 of 150 ns" in last(said(board, "memory picture"))[1]
    board = make_board(memory(address=["x2-x9", "y5-y8"], data=DATA, part="27C256", access=120e-9))
    assert "use a 2764 of 150 ns" in last(said(board, "memory picture"))[1]
    board = make_board(memory(address=["x1-x9", "y5-y8"], data=DATA, part="27C256", access=70e-9))
    assert "use a" not in last(said(board, "memory picture"))[1]


def test_a_smaller_part_leaves_time_for_the_memories_behind_it(make_board, memory, said) -> None:
    """The map is held for 32 counts, but the tiles' first word in each waits for it and takes 70 ns itself."""
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=[], part="27C256", access=70e-9),
        memory("tiles", address=["x2-x4", "y2-y4", "map.d0-map.d7"], data=DATA, part="27C256", access=70e-9),
    )
    assert "use a" not in last(said(board, "memory map"))[1]


def test_a_look_up_memory_gets_no_banks(make_board, memory, said) -> None:
    board = make_board(
        memory("colour", address=["picture.d0-picture.d7"], data=DATA, part="2716"),
        memory("picture", address=["x2-x9", "y2-y8"], data=[], part="27C256"),
    )
    assert last(said(board, "memory colour"))[1] == "address pins A8 to A10 are left over; tie them to ground"


def test_a_look_up_of_fewer_colours_than_the_ladders_have(make_board, memory, said) -> None:
    board = make_board(
        memory("colour", address=["picture.d0-picture.d3"], data=DATA, part="2716"),
        memory("picture", address=["x2-x9", "y2-y8"], data=[], part="27C256"),
    )
    assert last(said(board, "memory colour"))[1] == (
        "colour look-up shows 16 of 64 colours at a time; reduce each picture to as many"
    )


def test_a_look_up_that_does_not_know_the_bank(make_board, memory, said) -> None:
    def look_up(*banks: str) -> str:
        board = make_board(
            memory("colour", address=["picture.d0-picture.d3", *banks], data=DATA, part="2716"),
            memory("picture", address=["x2-x9", "y2-y8", "bank0"], data=[], part="27C512"),
        )
        return str(last(said(board, "memory colour"))[1])

    assert look_up() == (
        "colour look-up shows 16 of 64 colours, the same in all banks; reduce all pictures together to as many, "
        "or give it bank lines"
    )
    assert look_up("bank0").endswith("at a time; reduce each picture to as many")
