"""The pin-outs of common logic against an open library of symbols: Debian's ``kicad-symbols``, ``74xx``.

The library leaves the pins of plain gates unnamed and gives their unit and direction; of other parts it has the names
of one maker each, which are put into ours here.
"""

from __future__ import annotations

import os
import re
from functools import cache
from pathlib import Path

import pytest

from ladderlight.bench.logic import Logic

LIBRARY = Path("/usr/share/kicad/symbols/74xx.kicad_sym")
OUTPUTS = {"output", "tri_state"}
EIGHT = {f"{kind}{bit}": f"{bit + 1}{kind}" for kind in "DQ" for bit in range(8)}
ENABLED = {"A0": "A", "A1": "B", "A2": "C", "A3": "D"}
NAMES: dict[Logic, tuple[str, dict[str, str]]] = {
    Logic.REGISTER: ("74LS574", EIGHT | {"OE": "/OE", "Cp": "CLK"}),
    Logic.CLEARED: ("74HC273", EIGHT | {"/Mr": "/CLR", "Cp": "CLK"}),
    Logic.SELECT2: (
        "74LS257",
        {"OE": "/OE"}
        | {
            f"I{bit}{letter}": f"{unit}{'AB'[bit]}"
            for bit in (0, 1)
            for letter, unit in zip("abdc", "1234", strict=True)
        }
        | {f"Z{letter}": f"{unit}Y" for letter, unit in zip("abdc", "1234", strict=True)},
    ),
    Logic.SELECT4: (
        "74LS253",
        {"OEa": "1/OE", "OEb": "2/OE", "A0": "A", "A1": "B", "Za": "1Y", "Zb": "2Y"}
        | {f"I{bit}{letter}": f"{unit}C{bit}" for bit in range(4) for letter, unit in (("a", 1), ("b", 2))},
    ),
    Logic.SELECT8: ("74LS251", {f"I{bit}": f"D{bit}" for bit in range(8)} | {"S0": "A", "S1": "B", "S2": "C"}),
    Logic.SHIFT4: (
        "74LS195",
        {"/MR": "/CLR", "/PE": "/LOAD", "CP": "CLK", "/Q3": "/QD"}
        | {f"P{bit}": "ABCD"[bit] for bit in range(4)}
        | {f"Q{bit}": f"Q{'ABCD'[bit]}" for bit in range(4)},
    ),
    Logic.SHIFT8: (
        "74LS166",
        {"Ds": "SER", "CE": "CLKINH", "Clk": "CLK", "Clr": "/CLR", "Qh": "QH", "PE": "/LOAD"},
    ),
    Logic.DECODER8: (
        "74LS138",
        ENABLED | {"E1": "/E1", "E2": "/E2"} | {f"O{bit}": f"Y{bit}" for bit in range(8)},
    ),
    Logic.DECODER16: (
        "74LS154",
        ENABLED | {"E0": "/E1", "E1": "/E2"} | {f"S{bit}": f"Y{bit}" for bit in range(16)},
    ),
    Logic.COUNTER: (
        "74LS161",
        {"/MR": "/CLR", "/PE": "/LOAD", "CP": "CLK", "CEP": "ENP", "CET": "ENT", "TC": "RCO"}
        | {f"{kind}{bit}": f"{'Q' if kind == 'Q' else ''}{'ABCD'[bit]}" for kind in "DQ" for bit in range(4)},
    ),
}
GATES = {
    Logic.INVERTER: "74HC04",
    Logic.XOR: "74HC86",
    Logic.AND: "74LS08",
    Logic.NAND2: "74HC00",
    Logic.NAND3: "74LS10",
    Logic.NAND4: "74LS20",
    Logic.BUFFER: "74LS125",
    Logic.DECODER4: "74LS139",
    Logic.FLIP_FLOP: "74HC74",
}


@cache
def library() -> str:
    if not LIBRARY.exists():
        reason = f"{LIBRARY} is missing (Debian kicad-symbols)"
        pytest.fail(reason) if os.environ.get("CI") == "true" else pytest.skip(reason)
    return LIBRARY.read_text()


def symbol(name: str) -> dict[int, tuple[int, str, str]]:
    """Unit, direction and name of each pin of a symbol, by number."""
    (body,) = re.findall(rf'\n  \(symbol "{name}" (.*?)(?=\n  \(symbol |\Z)', library(), re.DOTALL)
    if base := re.search(r'extends "([^"]+)"', body):
        return symbol(base[1])
    found = {}
    for unit, text in re.findall(r'\(symbol "[^"]+_(\d+)_\d+"(.*?)(?=\n    \(symbol |\Z)', body, re.DOTALL):
        for kind, given, number in re.findall(
            r'\(pin (\w+) \w+ .*?\(name "([^"]*)".*?\(number "(\d+)"', text, re.DOTALL
        ):
            found[int(number)] = (int(unit), kind, re.sub(r"~\{(\w+)\}", r"/\1", given))
    return found


@pytest.mark.parametrize("logic", NAMES, ids=lambda logic: logic.value)
def test_named_pins(logic: Logic) -> None:
    name, ours = NAMES[logic]
    found = {number: ours.get(given, given) for number, (_, _, given) in symbol(name).items()}
    assert found == dict(enumerate(logic.package.pinout, start=1))


@pytest.mark.parametrize("logic", GATES, ids=lambda logic: logic.value)
def test_units_of_gates(logic: Logic) -> None:
    """Each unit has its inputs and outputs on the same pins; power is where it should be."""
    pins = symbol(GATES[logic])
    pinout = dict(enumerate(logic.package.pinout, start=1))
    assert {number for number, name in pinout.items() if name != "NC"} == set(pins)
    for number, (unit, kind, name) in pins.items():
        if kind.startswith("power"):
            assert pinout[number] == name
        else:
            assert pinout[number][0] == str(unit)
            assert (kind in OUTPUTS) == any(letter in pinout[number] for letter in "YQ"), number


def test_every_part_is_compared() -> None:
    assert {*NAMES, *GATES} == set(Logic)
