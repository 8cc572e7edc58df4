"""Packages of common logic: what each holds, and its pins."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum


@dataclass(frozen=True)
class Package:
    """A package: its generic number, how many units it holds, and what one unit is called.

    ``pinout`` names the pins, pin 1 first. ``inputs`` and ``outputs`` are those of one unit, where ``#`` stands for its
    number; ``controls`` are the pins of its controls by their names here, and ``ties`` pins that have a fixed level.
    """

    number: str
    units: int
    unit: str
    holds: str
    pinout: tuple[str, ...]
    inputs: tuple[str, ...] = ("#A", "#B")
    outputs: tuple[str, ...] = ("#Y",)
    controls: dict[str, str] = field(default_factory=dict)
    ties: dict[str, str] = field(default_factory=dict)

    @property
    def package(self) -> str:
        """Its dual in-line package, such as ``DIP-14``."""
        return f"DIP-{len(self.pinout)}"


def _pins(names: str) -> tuple[str, ...]:
    return tuple(names.split())


_TWO_INPUTS = _pins("1A 1B 1Y 2A 2B 2Y GND 3Y 3A 3B 4Y 4A 4B VCC")


class Logic(Enum):
    """Common logic: generic 74-series functions, from memory; the datasheet rules.

    The pin-outs agree with Debian's kicad-symbols, which a test compares. A family is not part of the function: 74HC
    stands for any that is fast enough for the clock.
    """

    INVERTER = Package(
        "74HC04",
        6,
        "inverter",
        "six inverters",
        _pins("1A 1Y 2A 2Y 3A 3Y GND 4Y 4A 5Y 5A 6Y 6A VCC"),
        inputs=("#A",),
    )
    XOR = Package("74HC86", 4, "exclusive-or", "four 2-input exclusive-or gates", _TWO_INPUTS)
    AND = Package("74HC08", 4, "AND", "four 2-input AND gates", _TWO_INPUTS)
    NAND2 = Package("74HC00", 4, "NAND", "four 2-input NAND gates", _TWO_INPUTS)
    NAND3 = Package(
        "74HC10",
        3,
        "NAND",
        "three 3-input NAND gates",
        _pins("1A 1B 2A 2B 2C 2Y GND 3Y 3A 3B 3C 1Y 1C VCC"),
        inputs=("#A", "#B", "#C"),
    )
    NAND4 = Package(
        "74HC20",
        2,
        "NAND",
        "two 4-input NAND gates",
        _pins("1A 1B NC 1C 1D 1Y GND 2Y 2A 2B NC 2C 2D VCC"),
        inputs=("#A", "#B", "#C", "#D"),
    )
    BUFFER = Package(
        "74HC125",
        4,
        "buffer",
        "four three-state buffers",
        _pins("1/OE 1A 1Y 2/OE 2A 2Y GND 3Y 3A 3/OE 4Y 4A 4/OE VCC"),
        inputs=("#A",),
        controls={"/OE": "#/OE"},
    )
    FLIP_FLOP = Package(
        "74HC74",
        2,
        "flip-flop",
        "two flip-flops",
        _pins("1/CLR 1D 1CLK 1/PRE 1Q 1/Q GND 2/Q 2Q 2/PRE 2CLK 2D 2/CLR VCC"),
    )
    REGISTER = Package(
        "74HC574",
        8,
        "register bit",
        "eight register bits, three-state outputs",
        _pins("/OE 1D 2D 3D 4D 5D 6D 7D 8D GND CLK 8Q 7Q 6Q 5Q 4Q 3Q 2Q 1Q VCC"),
        inputs=("#D",),
        outputs=("#Q",),
        controls={"clock": "CLK", "/OE": "/OE"},
    )
    CLEARED = Package(
        "74HC273",
        8,
        "register bit",
        "eight register bits with clear",
        _pins("/CLR 1Q 1D 2D 2Q 3Q 3D 4D 4Q GND CLK 5Q 5D 6D 6Q 7Q 7D 8D 8Q VCC"),
        inputs=("#D",),
        outputs=("#Q",),
        controls={"clock": "CLK", "/clear": "/CLR"},
    )
    SELECT2 = Package(
        "74HC257",
        4,
        "selector",
        "four 2-input selectors, three-state outputs",
        _pins("S 1A 1B 1Y 2A 2B 2Y GND 3Y 3B 3A 4Y 4B 4A /OE VCC"),
        controls={"select 0": "S", "/OE": "/OE"},
    )
    SELECT4 = Package(
        "74HC253",
        2,
        "selector",
        "two 4-input selectors, three-state outputs",
        _pins("1/OE B 1C3 1C2 1C1 1C0 1Y GND 2Y 2C0 2C1 2C2 2C3 A 2/OE VCC"),
        inputs=("#C0", "#C1", "#C2", "#C3"),
        controls={"select 0": "A", "select 1": "B", "/OE": "#/OE"},
    )
    SELECT8 = Package(
        "74HC251",
        1,
        "selector",
        "one 8-input selector, three-state output",
        _pins("D3 D2 D1 D0 Y /Y /OE GND C B A D7 D6 D5 D4 VCC"),
        inputs=_pins("D0 D1 D2 D3 D4 D5 D6 D7"),
        outputs=("Y",),
        controls={"select 0": "A", "select 1": "B", "select 2": "C", "/OE": "/OE"},
    )
    SHIFT4 = Package(
        "74HC195",
        1,
        "shift register",
        "four bits, parallel load, clear",
        _pins("/CLR J /K A B C D GND /LOAD CLK /QD QD QC QB QA VCC"),
        inputs=_pins("D C B A"),
        outputs=("QD",),
        controls={"clock": "CLK", "/load": "/LOAD", "/clear": "/CLR"},
        ties={"J": "low", "/K": "low"},
    )
    SHIFT8 = Package(
        "74HC166",
        1,
        "shift register",
        "eight bits, parallel load, clear",
        _pins("SER A B C D CLKINH CLK GND /CLR E F G QH H /LOAD VCC"),
        inputs=_pins("H G F E D C B A"),
        outputs=("QH",),
        controls={"clock": "CLK", "/load": "/LOAD", "/clear": "/CLR"},
        ties={"SER": "low", "CLKINH": "low"},
    )
    DECODER4 = Package(
        "74HC139",
        2,
        "decoder",
        "two 2-to-4 decoders, outputs active low",
        _pins("1/E 1A 1B 1Y0 1Y1 1Y2 1Y3 GND 2Y3 2Y2 2Y1 2Y0 2B 2A 2/E VCC"),
        outputs=("#Y0", "#Y1", "#Y2", "#Y3"),
        ties={"1/E": "low", "2/E": "low"},
    )
    DECODER8 = Package(
        "74HC138",
        1,
        "decoder",
        "one 3-to-8 decoder, outputs active low",
        _pins("A B C /E1 /E2 E3 Y7 GND Y6 Y5 Y4 Y3 Y2 Y1 Y0 VCC"),
        inputs=("A", "B", "C"),
        outputs=tuple(f"Y{number}" for number in range(8)),
        ties={"/E1": "low", "/E2": "low", "E3": "high"},
    )
    DECODER16 = Package(
        "74HC154",
        1,
        "decoder",
        "one 4-to-16 decoder, outputs active low",
        _pins("Y0 Y1 Y2 Y3 Y4 Y5 Y6 Y7 Y8 Y9 Y10 GND Y11 Y12 Y13 Y14 Y15 /E1 /E2 D C B A VCC"),
        inputs=("A", "B", "C", "D"),
        outputs=tuple(f"Y{number}" for number in range(16)),
        ties={"/E1": "low", "/E2": "low"},
    )
    COUNTER = Package(
        "74HC161",
        1,
        "counter",
        "four bits, synchronous, presettable",
        _pins("/CLR CLK A B C D ENP GND /LOAD ENT QD QC QB QA RCO VCC"),
    )
