from __future__ import annotations

DATA = ["b0-b1", "g0-g1", "r0-r1"]


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
