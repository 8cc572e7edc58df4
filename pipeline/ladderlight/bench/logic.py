"""Packages of common logic and what each holds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


@dataclass(frozen=True)
class Package:
    """A package: its generic number, how many units it holds, pins, and what one unit is called."""

    number: str
    units: int
    pins: int
    unit: str
    holds: str

    @property
    def package(self) -> str:
        """Its dual in-line package, such as ``DIP-14``."""
        return f"DIP-{self.pins}"


class Logic(Enum):
    """Common logic: generic 74-series functions, from memory; the datasheet rules.

    A family is not part of the function: 74HC stands for any that is fast enough for the clock.
    """

    INVERTER = Package("74HC04", 6, 14, "inverter", "six inverters")
    XOR = Package("74HC86", 4, 14, "exclusive-or", "four 2-input exclusive-or gates")
    AND = Package("74HC08", 4, 14, "AND", "four 2-input AND gates")
    NAND2 = Package("74HC00", 4, 14, "NAND", "four 2-input NAND gates")
    NAND3 = Package("74HC10", 3, 14, "NAND", "three 3-input NAND gates")
    NAND4 = Package("74HC20", 2, 14, "NAND", "two 4-input NAND gates")
    BUFFER = Package("74HC125", 4, 14, "buffer", "four three-state buffers")
    FLIP_FLOP = Package("74HC74", 2, 14, "flip-flop", "two flip-flops")
    REGISTER = Package("74HC574", 8, 20, "register bit", "eight register bits, three-state outputs")
    CLEARED = Package("74HC273", 8, 20, "register bit", "eight register bits with clear")
    SELECT2 = Package("74HC257", 4, 16, "selector", "four 2-input selectors, three-state outputs")
    SELECT4 = Package("74HC253", 2, 16, "selector", "two 4-input selectors, three-state outputs")
    SELECT8 = Package("74HC251", 1, 16, "selector", "one 8-input selector, three-state output")
    SHIFT4 = Package("74HC195", 1, 16, "shift register", "four bits, parallel load, clear")
    SHIFT8 = Package("74HC166", 1, 16, "shift register", "eight bits, parallel load, clear")
    DECODER4 = Package("74HC139", 2, 16, "decoder", "two 2-to-4 decoders, outputs active low")
    DECODER8 = Package("74HC138", 1, 16, "decoder", "one 3-to-8 decoder, outputs active low")
    DECODER16 = Package("74HC154", 1, 24, "decoder", "one 4-to-16 decoder, outputs active low")
    COUNTER = Package("74HC161", 1, 16, "counter", "four bits, synchronous, presettable")
