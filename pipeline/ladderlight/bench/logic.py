"""Packages of common logic: what each holds, and its pins."""

import tomllib
from dataclasses import field
from enum import Enum
from functools import cache, cached_property
from importlib.resources import files
from typing import Any

from ladderlight.system.frozen import Frozen


class Package(Frozen):
    """A package: its generic number, what it holds, how many units that is, and what one unit is called.

    ``pinout`` names the pins, pin 1 first. ``inputs`` and ``outputs`` are those of one unit, where ``#`` stands for its
    number; ``controls`` are the pins of its controls by their names here, and ``ties`` pins that have a fixed level.
    """

    number: str
    holds: str
    units: int
    unit: str
    pinout: tuple[str, ...]
    inputs: tuple[str, ...] = ("#A", "#B")
    outputs: tuple[str, ...] = ("#Y",)
    controls: dict[str, str] = field(default_factory=dict)
    ties: dict[str, str] = field(default_factory=dict)

    @property
    def package(self) -> str:
        """Its dual in-line package, such as ``DIP-14``."""
        return f"DIP-{len(self.pinout)}"


class Logic(Enum):
    """Common logic by its functions, each the number of a package in ``logic.toml``."""

    INVERTER = "74HC04"
    XOR = "74HC86"
    AND = "74HC08"
    NAND2 = "74HC00"
    NAND3 = "74HC10"
    NAND4 = "74HC20"
    BUFFER = "74HC125"
    FLIP_FLOP = "74HC74"
    REGISTER = "74HC574"
    CLEARED = "74HC273"
    SELECT2 = "74HC257"
    SELECT4 = "74HC253"
    SELECT8 = "74HC251"
    SHIFT4 = "74HC195"
    SHIFT8 = "74HC166"
    DECODER4 = "74HC139"
    DECODER8 = "74HC138"
    DECODER16 = "74HC154"
    COUNTER = "74HC161"

    @cached_property
    def package(self) -> Package:
        """The package that holds it."""
        fields = _table()[self.value]
        pins: dict[str, Any] = {
            key: tuple(fields[key].split()) for key in ("pinout", "inputs", "outputs") if key in fields
        }
        return Package(number=self.value, **(fields | pins))


@cache
def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads((files("ladderlight.bench") / "logic.toml").read_text(encoding="utf-8"))
