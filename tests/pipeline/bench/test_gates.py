from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from ladderlight.bench.gates import Gates
from ladderlight.bench.logic import Logic
from ladderlight.board import Packing, Part


def packages(board):
    found = Gates(board).packages.items()
    return [(label, units[0].logic.value, len(units)) for label, units in found]


def test_a_bare_board_needs_no_gates(board) -> None:
    assert packages(board) == []


def timed(make_board, memory, lines: list[str], blanking: str = "gate"):
    """A picture memory behind a register, a memory for timing lines, and one that is clocked once a line."""
    picture = memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1", "hsync"], output="register")
    timing = memory("timing", address=["x0-x9", "y5-y9"], data=lines, part="27C256")
    frame = memory("frame", address=["y0-y9"], data=["vsync"], part="2716", output="register")
    return replace(make_board(picture, timing, frame), blanking=blanking)


@pytest.mark.parametrize(
    ("lines", "inverted"),
    [
        (["!blank", "!x_reset"], []),
        (["blank", "x_reset"], ["blank", "x_reset"]),
        (["!blank", "x_reset"], ["x_reset"]),
        (["blank", "!blank", "!x_reset"], []),
    ],
)
def test_timing_lines_that_memories_make_are_inverted_only_where_that_is_missing(
    make_board, memory, lines, inverted
) -> None:
    """Gates take blank low; the register that is clocked once a line takes the edge at the end of x_reset."""
    gates = Gates(timed(make_board, memory, lines))
    inverters = [unit for unit in gates.units if unit.logic is Logic.INVERTER and unit.inputs != ("x1",)]
    assert sorted(unit.inputs[0] for unit in inverters) == inverted
    assert all(unit.outputs == (f"!{unit.inputs[0]}",) for unit in inverters)
    (register,) = gates.paths["vsync"]
    assert dict(register.controls)["clock"] == "!x_reset"


def test_blanking_neither_clears_nor_disables_timing_lines(make_board, memory) -> None:
    for blanking, control in (("register", "/clear"), ("output-enable", "/OE")):
        gates = Gates(timed(make_board, memory, ["blank"], blanking))
        sync, colour = (dict(gates.paths[line][0].controls) for line in ("hsync", "r0"))
        assert sync.get(control, "low") == "low"
        assert colour[control] in ("!blank", "blank")


def test_the_connector_has_sync_in_the_modes_polarity(make_board, memory) -> None:
    picture = memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"])
    timing = memory("timing", address=["x0-x9"], data=["!hsync"], part="2716")
    gates = Gates(make_board(picture, timing))
    assert [(unit.logic, unit.inputs, unit.outputs) for unit in gates.units] == [
        (Logic.INVERTER, ("!hsync",), ("hsync",))
    ]


def test_equal_gates_of_several_pins_are_one(make_board, memory, ladder) -> None:
    """Mirrored tiles: one exclusive-or for each turned line, however many pins it goes to."""
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="2716"),
        memory("one", address=["x2-x4^map.d6", "!y2", "map.d0-map.d3"], data=["r0"], part="2716"),
        memory("two", address=["x2-x4^map.d6", "!y2", "map.d0-map.d3"], data=["r1"], part="2716"),
        ladder=ladder(red={"r0": 1330.0, "r1": 680.0}),
    )
    assert packages(board) == [("U4", "74HC86", 3), ("U5", "74HC04", 1)]


def test_inverted_and_threefold_exclusive_ors_are_chains(make_board, memory, ladder) -> None:
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="2716"),
        memory("tiles", address=["!x2^map.d6^map.d7", "map.d0-map.d3"], data=["r0"], part="2716"),
        ladder=ladder(red={"r0": 460.0}),
    )
    units = Gates(board).units
    assert [(unit.logic, unit.inputs, unit.outputs) for unit in units] == [
        (Logic.XOR, ("x2", "map.d6"), ("x2^map.d6",)),
        (Logic.XOR, ("x2^map.d6", "map.d7"), ("x2^map.d6^map.d7",)),
        (Logic.INVERTER, ("x2^map.d6^map.d7",), ("!x2^map.d6^map.d7",)),
    ]


@pytest.mark.parametrize(
    ("blanking", "expected"),
    [
        pytest.param("none", {"74HC04": 1, "74HC574": 6}, id="none"),
        pytest.param("output-enable", {"74HC04": 1, "74HC574": 6}, id="output-enable"),
        pytest.param("register", {"74HC04": 2, "74HC273": 6}, id="register"),
        pytest.param("gate", {"74HC04": 2, "74HC574": 6, "74HC08": 6}, id="gate"),
    ],
)
def test_units_by_way_of_blanking(make_board, memory, blanking, expected) -> None:
    """Six lines behind a register: the inverters are for the register's clock, and for blank where it is used low."""
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], output="register"))
    units = Gates(replace(board, blanking=blanking)).units
    assert Counter(unit.logic.value for unit in units) == expected


@pytest.mark.parametrize(
    ("address", "clock"),
    [
        pytest.param(["x0-x9", "y5-y8"], "x clock", id="every count"),
        pytest.param(["x1-x9", "y5-y8"], "!x0", id="every second"),
        pytest.param(["x3-x9", "y5-y8"], "!x2", id="every eighth"),
        pytest.param(["y2-y8"], "x_reset", id="every fourth line"),
    ],
)
def test_a_register_takes_each_word_when_its_hold_ends(make_board, memory, ladder, address, clock) -> None:
    board = make_board(
        memory(address=address, data=["r0"], output="register", part="27C256"), ladder=ladder(red={"r0": 460.0})
    )
    (register,) = [unit for unit in Gates(board).units if unit.logic is Logic.REGISTER]
    assert register.controls == (("clock", clock), ("/OE", "low"))


@pytest.mark.parametrize(
    ("pixels", "output", "blanking", "expected"),
    [
        (2, "register", "none", {"74HC195": 1, "74HC04": 1}),
        (4, "register", "none", {"74HC195": 1, "74HC00": 1}),
        (8, "register", "none", {"74HC166": 1, "74HC10": 1}),
        (16, "register", "none", {"74HC166": 2, "74HC20": 1}),
        (8, "register", "output-enable", {"74HC166": 1, "74HC10": 1, "74HC125": 1}),
        (2, "direct", "output-enable", {"74HC257": 1}),
        (4, "direct", "none", {"74HC253": 1}),
        (8, "direct", "none", {"74HC251": 1}),
        (16, "direct", "none", {"74HC251": 2, "74HC257": 1}),
    ],
)
def test_what_sends_or_picks_the_pixels_of_a_word(
    make_board, memory, ladder, pixels, output, blanking, expected
) -> None:
    """Pixels of one count each: a shift register is clocked with the counter and loaded when the low bits are high."""
    lowest = pixels.bit_length() - 1
    board = make_board(
        memory(
            address=[f"x{lowest}-x9", "y5-y8"],
            data=["v0"],
            packing=Packing(pixels=pixels),
            output=output,
            part=Part(number="MH-16", words=1 << 14, width=16),
        ),
        ladder=ladder(grey={"v0": 430.0}),
    )
    units = Gates(replace(board, blanking=blanking)).units
    assert Counter(unit.logic.value for unit in units) == expected
    for unit in units:
        if unit.logic in (Logic.SHIFT4, Logic.SHIFT8):
            low = [f"x{bit}" for bit in range(lowest)]
            load = "!x0" if lowest == 1 else f"!({'&'.join(low)})"
            assert unit.controls == (("clock", "x clock"), ("/load", load), ("/clear", "high"))


def test_packages_are_filled_before_another_is_begun(make_board, memory, ladder) -> None:
    board = make_board(
        memory("low", address=["x1-x9", "y3-y8"], data=["b0-b3", "g0-g1"], output="register", part="27C256"),
        memory("high", address=["x1-x9", "y3-y8"], data=["r0-r3"], output="register", part="27C256"),
        ladder=ladder(
            red={f"r{bit}": 680.0 * 2**bit for bit in range(4)},
            green={"g0": 1330.0, "g1": 680.0},
            blue={f"b{bit}": 680.0 * 2**bit for bit in range(4)},
        ),
    )
    assert packages(board) == [("U3", "74HC04", 1), ("U4", "74HC574", 8), ("U5", "74HC574", 2)]
