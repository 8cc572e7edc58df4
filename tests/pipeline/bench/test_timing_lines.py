"""Data pins that drive sync, blanking and resets."""

from __future__ import annotations

from dataclasses import replace

from ladderlight.bench.sheets.document import bench_of, document_of
from ladderlight.bench.sheets.files import bench_sheet
from ladderlight.bench.wiring import Wiring
from ladderlight.board.advice import findings


def timed(make_board, memory, *names, output="direct", blanking="output-enable", **more):
    """A picture memory, and one whose data pins drive timing lines."""
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], output=output),
        memory("timing", address=["x0-x9", "y0-y4"], data=["-"], part="27C512", output=output),
        check=False,
    )
    picture, timing = board.memories
    return replace(board, memories=(picture, replace(timing, data=names)), blanking=blanking, **more)


def test_a_memory_drives_syncs_blanking_and_resets(make_board, memory) -> None:
    wiring = Wiring(timed(make_board, memory, "hsync", "vsync", "blank", "x_reset", "y_reset"))
    pins = {pin.name: pin.to for pin in wiring.chips[1].pins}
    assert pins["D0"] == "J1 pin 13 (hsync)"
    assert pins["D2"] == "U1 pin 24 (/OE)"
    assert pins["D3"] == "x counter's synchronous reset"
    assert pins["D4"] == "y counter's synchronous reset"
    assert {pin.name: pin.to for pin in wiring.connector.pins}["vsync"] == "U2 pin 12 (D1)"
    assert {pin.name: pin.to for pin in wiring.chips[0].pins}["/OE"].startswith("U2 pin 13 (D2): the outputs float")
    assert not wiring.gates.units


def test_an_inverted_line_gets_an_inverter_where_its_level_is_used(make_board, memory) -> None:
    wiring = Wiring(timed(make_board, memory, "!hsync", "!blank", blanking="gate"))
    assert {pin.name: pin.to for pin in wiring.connector.pins}["hsync"] == "U3 pin 2 (1Y), inverter of !hsync"
    gates = [unit for unit in wiring.gates.units if unit.logic.package.unit == "AND"]
    assert gates[0].inputs == ("r0", "!blank")  # as the pin drives it
    pins = {pin.name: pin.to for pin in wiring.chips[1].pins}
    assert pins["D0"] == "U3 pin 1 (1A)"
    assert pins["D1"].startswith("U4 pin 2 (1B); U4 pin 5 (2B)")


def test_a_register_of_timing_lines_is_not_disabled_with_the_picture(make_board, memory) -> None:
    wiring = Wiring(timed(make_board, memory, "hsync", "blank", output="register"))
    controls = {unit.inputs[0]: dict(unit.controls)["/OE"] for unit in wiring.gates.units if unit.controls}
    assert (controls["r0"], controls["hsync"], controls["blank"]) == ("blank", "low", "low")


def test_a_line_that_nothing_uses_is_said_to_be_one(make_board, memory) -> None:
    wiring = Wiring(timed(make_board, memory, "blank", blanking="none"))
    assert {pin.name: pin.to for pin in wiring.chips[1].pins}["D0"] == "nothing on this sheet"


def test_the_sheet_says_what_needs_no_gates_and_what_floats(make_board, memory) -> None:
    board = timed(make_board, memory, "hsync", "blank")
    text = " ".join(bench_sheet("Tide chart", bench_of(board, findings(board))).split())
    assert "Memories drive hsync and blank: these lines need no gates." in text
    picture, _ = board.memories
    shared = replace(board, memories=(replace(picture, data=(*picture.data, "hsync")),))
    found = [
        item for item in document_of(bench_of(shared, findings(shared)))["findings"] if "would float" in item["message"]
    ]
    assert [item["where"] for item in found] == ["memory picture"]


def test_what_is_made_inverted_is_inverted_only_where_that_is_missing(make_board, memory) -> None:
    """Gates take blank low; counters with a reset that is active low take it as it is."""
    wiring = Wiring(timed(make_board, memory, "!blank", "!x_reset", blanking="gate"))
    assert {unit.logic.package.unit for unit in wiring.gates.units} == {"AND"}
    assert {pin.name: pin.to for pin in wiring.chips[1].pins}["D1"] == "x counter's synchronous reset"
    frame = memory("frame", address=["y0-y9"], data=["vsync"], part="2716", output="register")
    board = timed(make_board, memory, "blank", "x_reset")
    wiring = Wiring(replace(board, memories=(*board.memories, frame)))
    (register,) = wiring.gates.paths["vsync"]
    assert dict(register.controls)["clock"] == "!x_reset"  # the reset's end
