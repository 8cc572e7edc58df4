"""The gates, registers and selectors that a board's wiring needs between counters, memories and ladders."""

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property

from ladderlight.bench.connector import SYNCS
from ladderlight.bench.logic import Logic
from ladderlight.bench.pins import data_line
from ladderlight.board import Board, Device, Memory
from ladderlight.board.model.lines import timing_line
from ladderlight.board.scanning.timing import hold_in_counts

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
_DECODERS = {2: Logic.DECODER4, 3: Logic.DECODER8, 4: Logic.DECODER16}


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One gate, register bit or the like: where it sits, and the lines at its pins.

    ``package`` is the socket's label, ``number`` the unit's place in it from 1. ``controls`` are pins that the units of
    a package have in common, such as clock and output enable, with their lines.
    """

    package: str
    number: int
    logic: Logic
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    controls: tuple[tuple[str, str], ...] = ()

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


@dataclass(frozen=True, kw_only=True)
class Gates:
    """All units of a board. ``paths`` are the units that a data line passes from the memory's pin on, in order."""

    units: tuple[Unit, ...]
    paths: dict[str, tuple[Unit, ...]]

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


def gates_of(board: Board) -> Gates:
    """Return the units that a board's wiring needs, their packages numbered after the memories' sockets."""
    plan = _Plan(board)
    plan.make()
    return Gates(units=tuple(plan.units), paths={line: tuple(path) for line, path in plan.paths.items()})


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
class _Plan:
    """Units as they are found to be needed."""

    board: Board
    units: list[Unit] = field(default_factory=list)
    paths: dict[str, list[Unit]] = field(default_factory=lambda: defaultdict(list))
    _open: dict[tuple[Logic, tuple[tuple[str, str], ...]], tuple[str, int]] = field(default_factory=dict)
    _made: set[str] = field(default_factory=set)

    def make(self) -> None:
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

    def _add(
        self,
        logic: Logic,
        inputs: tuple[str, ...],
        outputs: tuple[str, ...],
        controls: tuple[tuple[str, str], ...] = (),
    ) -> Unit:
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
            if clear == "high":
                self.paths[line].append(self._add(Logic.REGISTER, (line,), (line,), (clock, ("/OE", enable))))
            else:
                self.paths[line].append(self._add(Logic.CLEARED, (line,), (line,), (clock, ("/clear", clear))))

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
