"""The pins of the packages of common logic, and what is at each."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from ladderlight.bench.gates import Gates, Unit
from ladderlight.bench.logic import Logic
from ladderlight.devices.pinouts import NOT_CONNECTED

_CASCADE = "SER"
"""The pin through which a shift register takes what another one sends."""
_WHOLE = 16
"""Pixels of a word that take two shift registers or selectors."""


@dataclass(frozen=True, kw_only=True)
class LogicPin:
    """A pin of a package: ``line`` at it, empty where nothing is.

    ``unit`` is the one whose input, output or control it is, None for pins of no unit that is used. A data line is
    another signal behind each of its units: ``behind`` is the unit whose output is at an input, None for the line as it
    is elsewhere; ``pixel`` which pixel of a word enters there, 0 for the leftmost, where the memory's pin is at it.
    """

    package: str
    number: int
    name: str
    line: str = ""
    unit: Unit | None = None
    drives: bool = False
    behind: Unit | None = None
    pixel: int | None = None

    @property
    def place(self) -> str:
        """The pin in words: ``U3 pin 2 (1D)``."""
        return f"{self.package} pin {self.number} ({self.name})"


def logic_pins(gates: Gates) -> Iterator[LogicPin]:
    """Yield the pins of all packages of common logic, in the order of the packages and of their pins.

    Pins of units that are not used are tied low, their outputs are left open.
    """
    lines = {id(unit): line for line, path in gates.paths.items() for unit in path}
    inner = {(id(sink), pin): source for path in gates.paths.values() for sink, pin, source in links(path)}
    for units in gates.packages.values():
        used: dict[str, LogicPin] = {}
        for unit in units:
            own = lines.get(id(unit), "")
            for name, line in zip(unit.input_pins, unit.inputs, strict=False):
                enters = line == own and (id(unit), name) not in inner
                pixel = _first_pixel(unit, gates.paths[own]) + unit.input_pins.index(name) if enters else None
                used[name] = _pin(unit, name, line=line, behind=inner.get((id(unit), name)), pixel=pixel)
            for name, line in unit.control_pins.items():
                used[name] = _pin(unit, name, line=line)
            for name, line in zip(unit.output_pins, unit.outputs, strict=False):
                used[name] = _pin(unit, name, line=line, drives=True)
            if (id(unit), _CASCADE) in inner:
                used[_CASCADE] = _pin(unit, _CASCADE, line=own, behind=inner[id(unit), _CASCADE])
        logic, label = units[0].logic, units[0].package
        for number, name in enumerate(logic.package.pinout, start=1):
            resting = LogicPin(package=label, number=number, name=name, line=_resting(logic, name))
            yield used.get(name, resting)


def _pin(unit: Unit, name: str, **more: Any) -> LogicPin:
    number = unit.logic.package.pinout.index(name) + 1
    return LogicPin(package=unit.package, number=number, name=name, unit=unit, **more)


def links(path: tuple[Unit, ...]) -> Iterator[tuple[Unit, str, Unit]]:
    """Yield the links between a data line's units: a unit, the pin of it, and the unit whose output is there."""
    start = 1
    if len(path) > 1 and path[0].logic is path[1].logic:
        if path[0].logic is Logic.SHIFT8:
            yield path[1], _CASCADE, path[0]
            start = 2
        else:
            yield path[2], path[2].input_pins[0], path[0]
            yield path[2], path[2].input_pins[1], path[1]
            start = 3
    for before, unit in zip(path[start - 1 :], path[start:], strict=False):
        yield unit, unit.input_pins[0], before


def _first_pixel(unit: Unit, path: tuple[Unit, ...]) -> int:
    """Return the leftmost pixel that enters a unit: of two shift registers the second sends first."""
    if len(path) < 2 or path[0].logic is not path[1].logic:
        return 0
    later = path[0] if unit.logic is Logic.SHIFT8 else path[1]
    return _WHOLE // 2 if unit is later else 0


def _resting(logic: Logic, name: str) -> str:
    """Return what a pin is tied to that no unit uses: empty for outputs and pins that are not connected."""
    if name in ("VCC", "GND"):
        return name
    if name == NOT_CONNECTED or "Q" in name or "Y" in name:
        return ""
    return logic.package.ties.get(name, "low")
