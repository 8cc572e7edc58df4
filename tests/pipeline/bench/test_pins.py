from __future__ import annotations

from ladderlight.bench.pins import Pin, Pins, pins_of
from ladderlight.board import Packing, Part

LOOK_UP = {"red": {"r0": 1330.0, "r1": 680.0}, "green": {"g0": 1330.0}, "blue": {"b0": 1330.0}}


def pin_of(chip: Pins, name: str) -> Pin:
    return next(pin for pin in chip.pins if pin.name == name)


def test_each_pin_has_its_number_and_line(board) -> None:
    """The 27C010: A0 at pin 12, A16 at 2, D0 at 13, D5 at 19 (kicad-symbols, as in tests/outside)."""
    (chip,) = pins_of(board)
    assert (chip.label, chip.device.name, len(chip.pins)) == ("U1", "picture", 32)
    assert [pin.number for pin in chip.pins] == list(range(1, 33))
    assert (pin_of(chip, "A0").number, pin_of(chip, "A0").line) == (12, "x2")
    assert (pin_of(chip, "A16").number, pin_of(chip, "A16").line) == (2, "bank1")
    assert [(pin.number, pin.line) for pin in (pin_of(chip, f"D{bit}") for bit in range(8))] == [
        (13, "b0"),
        (14, "b1"),
        (15, "g0"),
        (17, "g1"),
        (18, "r0"),
        (19, "r1"),
        (20, ""),
        (21, ""),
    ]


def test_sockets_are_numbered_through_all_memories(make_board, memory, ladder) -> None:
    board = make_board(
        memory("map", address=["x3-x9", "y3-y8"], data=["-"], part="2764", chips=2),
        memory("colours", address=["!map.d0", "map.d1-map.d2^map.d3"], data=["r0", "r1", "g0", "b0"], part="2716"),
        ladder=ladder(**LOOK_UP),
    )
    low, high, colours = pins_of(board)
    assert [chip.label for chip in (low, high, colours)] == ["U1", "U2", "U3"]
    assert [chip.device.name for chip in (low, high)] == ["map-0", "map-1"]
    assert low.pins == high.pins
    assert [pin_of(low, f"D{bit}").line for bit in range(5)] == ["map.d0", "map.d1", "map.d2", "map.d3", ""]
    assert [pin_of(colours, f"A{bit}").line for bit in range(4)] == ["!map.d0", "map.d1^map.d3", "map.d2^map.d3", "low"]
    assert "A13" not in [pin.name for pin in low.pins if pin.bit]


def test_a_named_line_to_another_memory_keeps_its_name(make_board, memory, ladder) -> None:
    board = make_board(
        memory("map", address=["x3-x9", "y3-y8"], data=["kind"], part="28C64"),
        memory("colours", address=["kind"], data=["r0", "r1", "g0", "b0"], part="28C16"),
        ladder=ladder(**LOOK_UP),
    )
    first, second = pins_of(board)
    assert (pin_of(first, "D0").line, pin_of(second, "A0").line) == ("kind", "kind")


def test_pixels_that_share_a_word_have_their_line_on_several_pins(make_board, memory, ladder) -> None:
    board = make_board(
        memory(address=["x3-x9", "y3-y8"], data=["r0", "g0"], packing=Packing(pixels=4), output="register"),
        ladder=ladder(red={"r0": 460.0}, green={"g0": 460.0}),
    )
    (chip,) = pins_of(board)
    assert [pin_of(chip, f"D{bit}").line for bit in range(8)] == ["r0", "g0"] * 4


def test_a_part_of_ones_own_has_names_without_numbers(make_board, memory, ladder) -> None:
    own = Part(number="MH-77", words=1 << 14, width=4)
    board = make_board(memory(address=["x3-x9", "y3-y8"], data=["r0"], part=own), ladder=ladder(red={"r0": 460.0}))
    (chip,) = pins_of(board)
    assert {pin.number for pin in chip.pins} == {None}
    assert [pin.name for pin in chip.pins] == [
        *(f"A{bit}" for bit in range(14)), "D0", "D1", "D2", "D3", "/CE", "/OE", "VCC", "GND"
    ]  # fmt: skip
    assert (pin_of(chip, "A13").line, pin_of(chip, "D0").line) == ("low", "r0")
