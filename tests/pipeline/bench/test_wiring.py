from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.bench.wiring import Wiring
from ladderlight.board import Packing, Part
from ladderlight.board.model.ladder import Assembly

LOOK_UP = {"red": {"r0": 1330.0, "r1": 680.0}, "green": {"g0": 1330.0}, "blue": {"b0": 1330.0}}


def rows(chip):
    return {pin.name: (pin.number, pin.line, pin.to) for pin in chip.pins}


def line_of(wiring, name):
    (found,) = [line for line in wiring.lines if line.name == name]
    return found


def test_address_data_control_and_supply_pins_of_a_directly_wired_chip(board) -> None:
    """Numbers of the 27C010: kicad-symbols, as in tests/outside."""
    (chip,) = Wiring(replace(board, blanking="output-enable")).chips
    assert (chip.label, chip.device, chip.part, chip.package) == ("U1", "picture", "27C010", "DIP-32")
    assert chip.checked
    found = rows(chip)
    assert found["A0"] == (12, "x2", "x counter, bit 2")
    assert found["A14"] == (29, "y8", "y counter, bit 8")
    assert found["A16"] == (2, "bank1", "switch or frame counter, bit 1")
    assert found["D0"] == (13, "b0", "R5 (1k33) to J1 pin 3 (blue)")
    assert found["D6"] == (20, "", "open: unused output")
    assert found["/CE"] == (22, "low", "GND: always selected")
    assert found["/OE"] == (
        24,
        "blank",
        "decoder of the counts, high during blanking: the outputs float during blanking",
    )
    assert found["VPP"] == (1, "high", "VCC: the programming voltage belongs in the programmer")
    assert found["/PGM"] == (31, "high", "VCC: never written on the board")
    assert found["NC"] == (30, "", "open: not connected inside")
    assert found["GND"][:2] == (16, "GND")
    assert found["VCC"][:2] == (32, "VCC")


@pytest.mark.parametrize("blanking", ["gate", "register", "none"])
def test_outputs_are_always_enabled_where_nothing_disables_them(board, blanking) -> None:
    (chip,) = Wiring(replace(board, blanking=blanking)).chips
    assert rows(chip)["/OE"] == (24, "low", "GND: outputs always enabled")


def test_a_register_behind_the_memory_is_what_is_disabled(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], output="register"))
    wiring = Wiring(replace(board, blanking="output-enable"))
    found = rows(wiring.chips[0])
    assert found["/OE"] == (24, "low", "GND: outputs always enabled")
    assert found["D0"] == (13, "b0", "U3 pin 2 (1D)")
    assert line_of(wiring, "b0").source == "U3 pin 19 (1Q), from U1 pin 13 (D0)"
    assert line_of(wiring, "b0").to == ("R5 (1k33) to J1 pin 3 (blue)",)
    assert line_of(wiring, "blank").to == ("U3 pin 1 (/OE)",)
    # A word is held four counts: x1 falls, and its inverse rises, when x2 may change.
    assert line_of(wiring, "!x1").to == ("U3 pin 11 (CLK)",)


def test_spare_pins_and_pins_tied_in_the_recipe(make_board, memory, ladder) -> None:
    board = make_board(
        memory(address=["x3-x9", "high", "y3-y8", "low"], data=["r0"], part="27C512"),
        ladder=ladder(red={"r0": 460.0}),
    )
    found = rows(Wiring(board).chips[0])
    assert found["A7"] == (3, "high", "VCC: tied in the recipe")
    assert found["A14"] == (27, "low", "GND: tied in the recipe")
    assert found["A15"] == (1, "low", "GND: spare, low at every address in use")
    assert found["/OE/VPP"] == (22, "low", "GND: outputs always enabled")


def test_chips_of_one_memory_are_selected_by_the_highest_address_line(make_board, memory, ladder) -> None:
    def make(chips, address):
        return Wiring(
            make_board(memory(address=address, data=["r0"], part="2764", chips=chips), ladder=ladder(red={"r0": 460.0}))
        )

    two = make(2, ["x3-x9", "y3-y8", "bank0"])
    assert [rows(chip)["/CE"][1:] for chip in two.chips] == [
        ("bank0", "switch or frame counter, bit 0"),
        ("!bank0", "U3 pin 2 (1Y), inverter of bank0"),
    ]
    four = make(4, ["x3-x9", "y3-y8", "bank0-bank1"])
    assert [rows(chip)["/CE"][1:] for chip in four.chips] == [
        (f"picture-{chip}.select", f"U5 pin {4 + chip} (1Y{chip}), decoder of bank0 and bank1") for chip in range(4)
    ]
    assert line_of(four, "r0").source == "U1 pin 11 (D0), U2 pin 11 (D0), U3 pin 11 (D0) and U4 pin 11 (D0)"


def test_gates_between_memories_are_named_at_both_ends(make_board, memory, ladder) -> None:
    board = make_board(
        memory("map", address=["x3-x9", "y3-y8"], data=["-"], part="2764"),
        memory("colours", address=["!map.d0", "map.d1-map.d2^map.d3"], data=["r0", "r1", "g0", "b0"], part="2716"),
        ladder=ladder(**LOOK_UP),
    )
    wiring = Wiring(board)
    first, second = map(rows, wiring.chips)
    assert second["A0"] == (8, "!map.d0", "U3 pin 2 (1Y), inverter of map.d0")
    assert second["A2"] == (6, "map.d2^map.d3", "U4 pin 6 (2Y), exclusive-or of map.d2 and map.d3")
    assert first["D0"] == (11, "map.d0", "U3 pin 1 (1A)")
    assert first["D3"] == (15, "map.d3", "U4 pin 2 (1B); U4 pin 5 (2B)")
    assert line_of(wiring, "!map.d0").to == ("U2 pin 8 (A0)",)
    assert not wiring.chips[1].checked


def test_pixels_of_a_word_have_their_places_in_a_shift_register(make_board, memory, ladder) -> None:
    def first_of(order, pixels, output="register"):
        packing = Packing(pixels=pixels, order=order)
        part = Part(number="MH-16", words=1 << 14, width=16)
        board = make_board(
            memory(address=["x4-x9", "y3-y8"], data=["v0"], packing=packing, output=output, part=part),
            ladder=ladder(grey={"v0": 430.0}),
        )
        return rows(Wiring(board).chips[0])

    assert first_of("msb_first", 8)["D14"][2] == "U4 pin 14 (H), pixel 1 of 8 from the left"
    assert first_of("lsb_first", 8)["D0"][2] == "U4 pin 14 (H), pixel 1 of 8 from the left"
    # Sixteen take two registers; the one nearer to the ladder sends its eight pixels first.
    assert first_of("msb_first", 16)["D15"][2] == "U4 pin 14 (H), pixel 1 of 16 from the left"
    assert first_of("msb_first", 16)["D0"][2] == "U3 pin 2 (A), pixel 16 of 16 from the left"
    assert first_of("msb_first", 16, "direct")["D15"][2] == "U2 pin 4 (D0), pixel 1 of 16 from the left"
    assert first_of("msb_first", 16, "direct")["D0"][2] == "U3 pin 12 (D7), pixel 16 of 16 from the left"


def test_a_part_of_ones_own_lists_names_only(make_board, memory, ladder) -> None:
    own = Part(number="MH-77", words=1 << 14, width=4, package="SO-28")
    board = make_board(memory(address=["x3-x9", "y3-y8"], data=["r0"], part=own), ladder=ladder(red={"r0": 460.0}))
    (chip,) = Wiring(board).chips
    assert (chip.part, chip.package, chip.checked) == ("MH-77", "SO-28", None)
    assert chip.described == "MH-77, SO-28, pins by name only"
    assert {pin.number for pin in chip.pins} == {None}
    assert rows(chip)["A13"] == (None, "low", "GND: spare, low at every address in use")


def test_the_connector_has_syncs_returns_and_grounds_on_their_pins(make_board, memory, ladder) -> None:
    """Pins of the connector: common practice, from memory."""
    board = make_board(
        memory(address=["x3-x9", "y3-y8"], data=["r0", "r1", "g0"], part="27C256"),
        mode="640x400@70",
        ladder=ladder(red={"r0": 1330.0, "r1": 680.0}, green={"g0": 460.0}),
    )
    connector = Wiring(board).connector
    found = {pin.number: (pin.name, pin.line, pin.to) for pin in connector.pins}
    assert (connector.label, connector.part, len(found)) == ("J1", "DE-15", 15)
    assert found[1] == ("red", "red", "R1 and R2")
    assert found[3] == ("blue", "low", "GND: nothing feeds it")
    assert [found[number][1] for number in (5, 6, 7, 8, 10)] == ["GND"] * 5
    assert [found[number][1:] for number in (4, 9, 11, 12, 15)] == [("", "open")] * 5
    # VESA DMT and the industry standard: 640x400@70 has a negative line sync and a positive frame sync.
    assert found[13] == ("hsync", "hsync", "decoder of the counts, negative")
    assert found[14] == ("vsync", "vsync", "decoder of the counts, positive")


def test_resistors_lead_from_lines_to_the_connector(make_board, memory, ladder) -> None:
    grey = ladder(grey={"v0": 660.0, "v1": 660.0})
    (channel,) = grey.channels
    steps = replace(grey, channels=(replace(channel, r2r=330.0),))
    board = make_board(memory(address=["x3-x9", "y3-y8"], data=["v0-v1"], part="27C256"), ladder=steps)
    assert [(r.label, r.value, r.start, r.end) for r in Wiring(board).resistors] == [
        ("R1", "660", "line v0", "grey step 1"),
        ("R2", "660", "line v1", "J1 pins 1, 2 and 3 (red, green and blue)"),
        ("R3", "330", "grey step 1", "J1 pins 1, 2 and 3 (red, green and blue)"),
        ("R4", "660", "grey step 1", "GND"),
    ]


def test_every_pin_of_every_example_leads_somewhere(make_board, memory) -> None:
    wiring = Wiring(make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"])))
    for chip in (*wiring.chips, wiring.connector):
        assert all(pin.to for pin in chip.pins)
    named = {line.name for line in wiring.lines}
    assert {pin.line for chip in wiring.chips for pin in chip.pins if pin.line} <= named


def test_a_pair_is_two_resistors_with_a_middle_or_side_by_side(make_board, memory, ladder) -> None:
    plain = ladder(red={"r0": 1333.0, "r1": 680.0 * 11 / 11.68})
    (channel,) = plain.channels
    pairs = {
        "r0": Assembly(parts=(33.0, 1300.0), joined="series"),
        "r1": Assembly(parts=(680.0, 11000.0), joined="parallel"),
    }
    board = make_board(
        memory(address=["x3-x9", "y3-y8"], data=["r0-r1"], part="27C256"),
        ladder=replace(plain, channels=(replace(channel, pairs=pairs),)),
    )
    wiring = Wiring(board)
    assert [(r.label, r.value, r.start, r.end) for r in wiring.resistors] == [
        ("R1", "33", "line r0", "middle of r0"),
        ("R2", "1k3", "middle of r0", "J1 pin 1 (red)"),
        ("R3", "680", "line r1", "J1 pin 1 (red)"),
        ("R4", "11k", "line r1", "J1 pin 1 (red)"),
    ]
    assert line_of(wiring, "r1").to == ("R3 (680) to J1 pin 1 (red)", "R4 (11k) to J1 pin 1 (red)")
