"""The gates, registers and selectors that a board's wiring needs, and what is at the pins of their packages."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from ladderlight.bench.connector import SYNCS
from ladderlight.bench.logic import Logic
from ladderlight.bench.pins import data_line
from ladderlight.board import Board, Device, Memory
from ladderlight.board.model.lines import timing_line
from ladderlight.board.scanning.timing import hold_in_counts
from ladderlight.devices.pinouts import NOT_CONNECTED
from ladderlight.system.frozen import Frozen

BLANK = "blank"
"""High during blanking."""
CLOCK = "x clock"
"""Steps the x counter with its rising edge."""
LINE_CLOCK = "x_reset"
"""Once a line, where the x counter is reset. Made by a memory it is high at the count before."""
RESETS = {LINE_CLOCK: "x", "y_reset": "y"}
"""The lines that reset the counters."""
_SELECTORS = {2: Logic.SELECT2, 4: Logic.SELECT4, 8: Logic.SELECT8}
_SHIFTERS = {2: Logic.SHIFT4, 4: Logic.SHIFT4, 8: Logic.SHIFT8}
_NANDS = {2: Logic.NAND2, 3: Logic.NAND3, 4: Logic.NAND4}
Lines = tuple[str, ...]
Controls = tuple[tuple[str, str], ...]
"""Pins of controls by their names, each with its line."""
_DECODERS = {2: Logic.DECODER4, 3: Logic.DECODER8, 4: Logic.DECODER16}
_CASCADE = "SER"  # the pin through which a shift register takes what another one sends
_WHOLE = 16  # pixels of a word that take two shift registers or selectors


class Unit(Frozen):
    """One gate, register bit or the like: where it sits, and the lines at its pins.

    ``package`` is the socket's label, ``number`` the unit's place in it from 1. ``controls`` are pins that the units of
    a package have in common, such as clock and output enable, with their lines.
    """

    package: str
    number: int
    logic: Logic
    inputs: Lines
    outputs: Lines
    controls: Controls = ()

    @property
    def input_pins(self) -> tuple[str, ...]:
        """The names of the pins of ``inputs``, and of more that are not used."""
        return tuple(map(self._own, self.logic.package.inputs))

    @property
    def output_pins(self) -> tuple[str, ...]:
        """The names of the pins of ``outputs``."""
        return tuple(map(self._own, self.logic.package.outputs))

    @property
    def control_pins(self) -> dict[str, str]:
        """The lines of the pins of ``controls``, by the pins' names."""
        return {self._own(self.logic.package.controls[control]): line for control, line in self.controls}

    def _own(self, name: str) -> str:
        return name.replace("#", f"{self.number}")


def select_line(board: Board, device: Device) -> str:
    """Return the line that a chip's /CE is wired to: ``low`` for the only chip of its memory."""
    memory = board.memory(device.memory)
    if memory.chips == 1:
        return "low"
    lines = _select_lines(memory)
    if len(lines) > 1:
        return f"{device.name}.select"
    return lines[0] if device.index == 0 else inverse(lines[0])


def enable_line(board: Board, memory: Memory) -> str:
    """Return the line that /OE is wired to: ``blank`` where disabling the memory's own outputs blanks the picture."""
    own = memory.output == "direct" and memory.packing.pixels == 1
    return BLANK if board.blanking == "output-enable" and own and memory in board.driving_memories else "low"


def inverse(line: str) -> str:
    """Return the line of the opposite level."""
    opposite = {"low": "high", "high": "low"}
    return opposite.get(line) or (line[1:] if line.startswith("!") else f"!{line}")


def _select_lines(memory: Memory) -> list[str]:
    pins = range(memory.part.address_pins, memory.address_pins)
    return [str(memory.address[pin]) if pin < len(memory.address) else "low" for pin in pins]


@dataclass
class Gates:
    """The units that a board's wiring needs, their packages numbered after the memories' sockets.

    ``paths`` are the units that a data line passes from the memory's pin on, in order.
    """

    board: Board
    units: list[Unit] = field(default_factory=list, init=False)
    paths: dict[str, list[Unit]] = field(default_factory=lambda: defaultdict(list), init=False)
    _open: dict[tuple[Logic, Controls], tuple[str, int]] = field(default_factory=dict, init=False)
    _made: set[str] = field(default_factory=set, init=False)

    def __post_init__(self) -> None:
        for memory in self.board.memories:
            for expression in memory.address[: memory.part.address_pins]:
                self._provide(str(expression))
            if memory.chips > 1:
                self._select(memory)
        for memory in self.board.memories:
            self._provide(enable_line(self.board, memory))
            for line in dict.fromkeys(data_line(self.board, memory, bit) for bit in range(memory.pixel_width)):
                if line:
                    self._pass(memory, line)
        for line in SYNCS:
            self._provide(line)
        if self.board.blanking == "gate":
            for line in self.board.ladder.lines:
                self.paths[line].append(self._add(Logic.AND, (line, f"!{BLANK}"), (line,)))

    @cached_property
    def makers(self) -> dict[str, Unit]:
        """The unit that makes each line of others, such as ``!y8``."""
        passing = {id(unit) for path in self.paths.values() for unit in path}
        return {line: unit for unit in self.units if id(unit) not in passing for line in unit.outputs}

    @cached_property
    def packages(self) -> dict[str, tuple[Unit, ...]]:
        """The units of each package, by its socket's label, in the order of the labels."""
        found: dict[str, list[Unit]] = defaultdict(list)
        for unit in self.units:
            found[unit.package].append(unit)
        return {label: tuple(found[label]) for label in sorted(found, key=lambda label: int(label[1:]))}

    def _add(self, logic: Logic, inputs: Lines, outputs: Lines, controls: Controls = ()) -> Unit:
        for line in (*inputs, *(line for _, line in controls)):
            self._provide(line)
        label, used = self._open.get((logic, controls), ("", logic.package.units))
        if used == logic.package.units:
            taken = {unit.package for unit in self.units}
            label, used = f"U{len(self.board.devices) + len(taken) + 1}", 0
        self._open[logic, controls] = label, used + 1
        unit = Unit(package=label, number=used + 1, logic=logic, inputs=inputs, outputs=outputs, controls=controls)
        self.units.append(unit)
        return unit

    def _provide(self, line: str) -> None:
        """Add what makes a line of others, unless it is there."""
        if line in self._made or line in self.board.outputs:
            return
        if inverse(line) in self.board.outputs and timing_line(line):
            self._made.add(line)
            self._add(Logic.INVERTER, (inverse(line),), (line,))
        if line in self._made or not ("^" in line or line.startswith("!")):
            return
        self._made.add(line)
        if line.startswith("!("):
            inputs = tuple(line[2:-1].split("&"))
            self._add(_NANDS[len(inputs)], inputs, (line,))
        elif line.startswith("!"):
            self._add(Logic.INVERTER, (line[1:],), (line,))
        else:
            before, _, last = line.rpartition("^")
            self._add(Logic.XOR, (before, last), (line,))

    def _select(self, memory: Memory) -> None:
        lines = _select_lines(memory)
        outputs = tuple(select_line(self.board, device) for device in memory.devices)
        if len(lines) > 1:
            self._add(_DECODERS[len(lines)], tuple(lines), outputs)
            return
        for line in outputs:
            self._provide(line)

    def _pass(self, memory: Memory, line: str) -> None:
        """Add what stands between a memory's data pins and the rest of the board."""
        shows = memory in self.board.driving_memories and not timing_line(line)
        clear = f"!{BLANK}" if shows and self.board.blanking == "register" else "high"
        enable = BLANK if shows and self.board.blanking == "output-enable" else "low"
        if memory.packing.pixels > 1:
            self._unpack(memory, line, clear, enable)
        elif memory.output == "register":
            clock = ("clock", _clock(self.board, hold_in_counts(self.board, memory)))
            plain = clear == "high"
            logic, control = (Logic.REGISTER, ("/OE", enable)) if plain else (Logic.CLEARED, ("/clear", clear))
            self.paths[line].append(self._add(logic, (line,), (line,), (clock, control)))

    def _unpack(self, memory: Memory, line: str, clear: str, enable: str) -> None:
        pixels, lowest = memory.packing.pixels, self.board.first_select_bit(memory)
        selects = tuple(f"x{lowest + bit}" for bit in range(memory.packing.select_bits))
        if memory.output == "direct":
            controls = (*((f"select {bit}", select) for bit, select in enumerate(selects[:3])), ("/OE", enable))
            if pixels in _SELECTORS:
                self.paths[line].append(self._add(_SELECTORS[pixels], (line,) * pixels, (line,), controls))
                return
            halves = [self._add(Logic.SELECT8, (line,) * 8, (line,), (*controls[:3], ("/OE", "low"))) for _ in "12"]
            both = self._add(Logic.SELECT2, (line,) * 2, (line,), (("select 0", selects[3]), ("/OE", enable)))
            self.paths[line] += [*halves, both]
            return
        clock = ("clock", _clock(self.board, hold_in_counts(self.board, memory) // pixels))
        load = f"!{selects[0]}" if len(selects) == 1 else f"!({'&'.join(selects)})"
        controls = (clock, ("/load", load), ("/clear", clear))
        logic = _SHIFTERS.get(pixels, Logic.SHIFT8)
        for _ in range(2 if pixels not in _SHIFTERS else 1):
            self.paths[line].append(self._add(logic, (line,) * min(pixels, 8), (line,), controls))
        if enable == BLANK:
            self.paths[line].append(self._add(Logic.BUFFER, (line,), (line,), (("/OE", BLANK),)))


def _clock(board: Board, counts: int) -> str:
    """Return the line whose rising edge ends each hold of so many counts."""
    if counts >= board.raster.x.total:
        made = {LINE_CLOCK, inverse(LINE_CLOCK)} & set(board.outputs)
        return inverse(LINE_CLOCK) if made else LINE_CLOCK
    return CLOCK if counts == 1 else f"!x{counts.bit_length() - 2}"


class LogicPin(Frozen):
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


def links(path: Sequence[Unit]) -> Iterator[tuple[Unit, str, Unit]]:
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


def _first_pixel(unit: Unit, path: Sequence[Unit]) -> int:
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
