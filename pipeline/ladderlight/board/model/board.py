"""The board: raster, wiring, memories and ladder together, and all that follows from them."""

from collections.abc import Iterator
from fractions import Fraction
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ladderlight.board.model.ladder import Ladder
from ladderlight.board.model.lines import Line, Signal
from ladderlight.board.model.memory import Device, Memory
from ladderlight.board.model.palette import Palette, palette_of
from ladderlight.board.model.raster import Counter, Counts, Raster
from ladderlight.system.frozen import Frozen
from ladderlight.system.value import Value
from ladderlight.units.arrays import Ints

Blanking = Literal["output-enable", "register", "gate", "none"]
BLANKING: dict[Blanking, str] = {
    "output-enable": "the memories' outputs are disabled and the load pulls to 0 V",
    "register": "the output registers are cleared to code 0",
    "gate": "gates force the lines to code 0",
    "none": "the memories are read on",
}
"""How a board goes dark outside the picture."""


class Counters(Frozen):
    """The counts at the first visible pixel and line, and the delay in seconds from clock to valid address.

    ``x_reset`` and ``y_reset`` are what the counters' resets make of them; None for counters that are preset to their
    starts at the first visible pixel and line. ``blanking_delay`` is by how many counts sync and blanking are delayed,
    as a board with output registers needs.
    """

    x_start: int = 0
    y_start: int = 0
    x_reset: int | None = None
    y_reset: int | None = None
    delay: float = 0.0
    blanking_delay: int = 0


class Geometry(Frozen):
    """The picture scanned out; a pixel is ``repeat_x`` counts by ``repeat_y`` lines, its aspect width over height."""

    width: int
    height: int
    repeat_x: int
    repeat_y: int
    pixel_aspect: float


class Grid(Frozen):
    """One direction of the scan: ``counts`` int64, the counter's value for each visible count; ``cells`` the picture
    pixel that each visible count shows; ``samples`` the counter's value at the first count of each picture pixel.
    """

    counts: Ints
    cells: Ints
    samples: Ints


class Board(Value):
    """A board as declared; ``board.advice.checks.problems_of`` finds what keeps it from working."""

    raster: Raster
    memories: tuple[Memory, ...]
    ladder: Ladder
    blanking: Blanking = "none"
    counters: Counters = Counters()

    def memory(self, name: str) -> Memory:
        """Return the memory of a name."""
        return next(memory for memory in self.memories if memory.name == name)

    @property
    def devices(self) -> tuple[Device, ...]:
        """All chips, in the order of the memories."""
        return tuple(device for memory in self.memories for device in memory.devices)

    @cached_property
    def outputs(self) -> dict[str, Line]:
        """The memory output that drives each named line."""
        return {
            name: Line(f"{memory.name}.d{pin}", Signal.OUTPUT, pin, memory.name)
            for memory in self.memories
            for pin, name in enumerate(memory.data)
            if name != "-"
        }

    @cached_property
    def sockets(self) -> dict[str, str]:
        """The label of each chip's socket on the board, by the device's name: U1 for the first."""
        return {device.name: f"U{number}" for number, device in enumerate(self.devices, start=1)}

    def resolve(self, line: Line) -> Line:
        """Return the memory output behind a named line; other lines as they are."""
        return self.outputs[line.name] if line.signal is Signal.NAMED else line

    def address_lines(self, memory: Memory) -> Iterator[Line]:
        """All lines that a memory's address depends on directly, resolved."""
        yield from map(self.resolve, memory.wires)

    @cached_property
    def sources(self) -> dict[str, tuple[str, ...]]:
        """For each memory the memories that its address depends on directly."""
        return {
            memory.name: tuple(
                dict.fromkeys(line.memory for line in self.address_lines(memory) if line.signal is Signal.OUTPUT)
            )
            for memory in self.memories
        }

    def behind(self, memory: Memory) -> set[str]:
        """Return the names of the memories that a memory's address depends on, directly or through others."""
        found: set[str] = set()
        left = list(self.sources[memory.name])
        while left:
            name = left.pop()
            if name not in found:
                found.add(name)
                left += self.sources[name]
        return found

    @cached_property
    def order(self) -> tuple[Memory, ...]:
        """The memories such that each comes after those that its address depends on. Raises ValueError for a loop."""
        behind = {memory.name: self.behind(memory) for memory in self.memories}
        if any(name in names for name, names in behind.items()):
            raise ValueError("the memories address each other in a loop")
        return tuple(sorted(self.memories, key=lambda memory: len(behind[memory.name])))

    @cached_property
    def code_lines(self) -> tuple[str, ...]:
        """The ladder's lines in the order in which the memories' data pins drive them: bit 0 of a code first."""
        wanted = set(self.ladder.lines)
        return tuple(name for memory in self.memories for name in memory.data if name in wanted)

    @cached_property
    def driving_memories(self) -> tuple[Memory, ...]:
        """The memories whose data pins drive ladder lines."""
        wanted = set(self.ladder.lines)
        return tuple(memory for memory in self.memories if wanted & set(memory.data))

    @cached_property
    def picture_memories(self) -> tuple[Memory, ...]:
        """The memories that the picture depends on: those that drive ladder lines, and those that address them."""
        driving = {memory.name for memory in self.driving_memories}
        needed = driving.union(*map(self.behind, self.driving_memories))
        return tuple(memory for memory in self.memories if memory.name in needed)

    @cached_property
    def palette(self) -> Palette:
        """Every code with its voltages and colour."""
        return palette_of(self.ladder, self.code_lines)

    @cached_property
    def bank_count(self) -> int:
        """How many banks the wiring can choose among."""
        return 1 << len(self.bank_lines)

    @cached_property
    def bank_lines(self) -> tuple[int, ...]:
        """The bank lines that are wired, by index, ascending: bit i of a bank's number is the level of the i-th."""
        lines = (line for memory in self.memories for line in memory.wires)
        return tuple(sorted({line.index for line in lines if line.signal is Signal.BANK}))

    def bank_levels(self, bank: ArrayLike) -> Ints:
        """Return the levels of the bank lines for a bank, bit n for ``bankn``: int64, shaped like ``bank``."""
        number = np.asarray(bank, dtype=np.int64)
        levels = np.zeros_like(number)
        for up in {index - bit for bit, index in enumerate(self.bank_lines)}:  # all bits that move equally far at once
            moved = sum(1 << bit for bit, index in enumerate(self.bank_lines) if index - bit == up)
            levels |= (number & moved) << up
        return levels

    def lowest_bit(self, memory: Memory, signal: Signal) -> int | None:
        """Lowest bit of a counter among a memory's own address lines, or None."""
        return min((line.index for line in self.address_lines(memory) if line.signal is signal), default=None)

    def first_moving_bit(self, memory: Memory) -> int | None:
        """Lowest x bit that moves a memory's address, by itself or through the memories that address it, or None."""
        own = [line.index for line in self.address_lines(memory) if line.signal is Signal.X]
        others = [self.memory(name) for name in self.sources[memory.name]]
        through = [self.first_select_bit(other) for other in others if self.first_moving_bit(other) is not None]
        return min(own + through, default=None)

    def first_select_bit(self, memory: Memory) -> int:
        """Lowest x bit that picks a pixel out of a packed word; the lowest that moves the address if not packed."""
        return (self.first_moving_bit(memory) or 0) - memory.packing.select_bits

    @cached_property
    def x_shift(self) -> int:
        """Index of the lowest x bit that changes what is shown: a picture pixel is ``2**x_shift`` counts wide."""
        moved = (memory for memory in self.picture_memories if self.first_moving_bit(memory) is not None)
        bits = [self.first_select_bit(memory) for memory in moved]
        return min(bits, default=self.x_counter.bits)

    @cached_property
    def y_shift(self) -> int:
        """Index of the lowest y bit that changes what is shown."""
        bits = (self.lowest_bit(memory, Signal.Y) for memory in self.picture_memories)
        return min((bit for bit in bits if bit is not None), default=self.y_counter.bits)

    @cached_property
    def x_counter(self) -> Counter:
        """The counter that steps along a line."""
        own = self.counters
        return self._counter(Signal.X, self.raster.x, own.x_start, own.x_reset, delay=own.blanking_delay)

    @cached_property
    def y_counter(self) -> Counter:
        """The counter that steps down the screen."""
        return self._counter(Signal.Y, self.raster.y, self.counters.y_start, self.counters.y_reset)

    def _counter(self, signal: Signal, counts: Counts, start: int, reset: int | None, *, delay: int = 0) -> Counter:
        bits = (line.index for memory in self.memories for line in memory.wires if line.signal is signal)
        return Counter(start=start, reset=reset, counts=counts, wired=max(bits, default=0) + 1, delay=delay)

    def readings(self, column: ArrayLike, line: ArrayLike) -> tuple[Ints, Ints]:
        """Return the readings of the x and the y counter at counts and lines from the first visible ones, int64.

        Columns below 0 and past the last belong to the lines before and after. The y counter steps where the x counter
        is reset.
        """
        stepped = (np.asarray(column, dtype=np.int64) + self.x_counter.ahead) // self.raster.x.total
        return self.x_counter.read(column), self.y_counter.read(np.asarray(line, dtype=np.int64) + stepped)

    @cached_property
    def x_grid(self) -> Grid:
        """The scan along a line."""
        return _grid(self.x_counter, self.x_shift)

    @cached_property
    def y_grid(self) -> Grid:
        """The scan down the screen."""
        return _grid(self.y_counter, self.y_shift)

    @cached_property
    def geometry(self) -> Geometry:
        """The picture's size, repeat and proportions."""
        repeat_x, repeat_y = 1 << self.x_shift, 1 << self.y_shift
        width = Fraction(repeat_x) / self.raster.ratio * self.raster.mode.dot_aspect
        return Geometry(
            width=len(self.x_grid.samples),
            height=len(self.y_grid.samples),
            repeat_x=repeat_x,
            repeat_y=repeat_y,
            pixel_aspect=float(width / repeat_y),
        )


def _grid(counter: Counter, shift: int) -> Grid:
    counts = counter.read(np.arange(counter.counts.visible))
    new = np.ones(len(counts), dtype=bool)
    new[1:] = np.diff(counts >> shift) != 0
    return Grid(counts=counts, cells=np.cumsum(new) - 1, samples=counts[new])
