"""Faults outside of the chips, each as another board: counter bits, gates, bridged pins, resistors.

What a fault of wiring makes of some lines is a truth table. It enters the board as a memory of its own, addressed by
those lines, whose outputs take their places. The scan, the registers' clocks and the order of the memories then follow
as for any other board.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from ladderlight.board import Board, Channel, Ladder, Memory, Part
from ladderlight.board.model.ladder import LOAD
from ladderlight.board.model.lines import Expression, Line, Signal
from ladderlight.board.model.network import Resistor
from ladderlight.units.arrays import MemoryWords, Words

Faulty = tuple[Board, MemoryWords]
"""A board with a fault in it, and what its memories hold."""
Change = Callable[[Board, MemoryWords], Faulty]
Rewire = Callable[[Memory, int, Expression, Callable[[int], Line]], Expression]
"""From a memory, the number of an address pin, what drives it, and the table's output lines, to what drives it now."""
Place = tuple[str, str]
"""A resistor: its channel and its name in it."""


def through_table(board: Board, inputs: Sequence[Expression], outputs: Sequence[int], rewire: Rewire) -> Change | None:
    """Return the change that lets a truth table drive address pins; None where it would drive itself.

    ``inputs`` are what drives the table's inputs, the lowest bit first, and ``outputs`` its words; ``rewire`` gives
    what drives each address pin with the table in place.
    """
    name = next(name for name in (f"fault{'_' * n}" for n in range(99)) if name not in {m.name for m in board.memories})
    part = Part(number=name, words=len(outputs), width=8)
    table = Memory(name=name, part=part, address=tuple(inputs), data=("-",))

    def output(bit: int) -> Line:
        return Line(f"{name}.d{bit}", Signal.OUTPUT, bit, name)

    def rewired(memory: Memory) -> Memory:
        address = (rewire(memory, pin, driver, output) for pin, driver in enumerate(memory.address))
        return replace(memory, address=tuple(address))

    faulty = replace(board, memories=(*map(rewired, board.memories), table))
    try:
        _ = faulty.order
    except ValueError:
        return None
    held: Words = np.array(outputs, dtype=np.uint32)
    return lambda _, words: (faulty, {**words, name: held})


def broken_line(board: Board, line: Line, level: int) -> Change | None:
    """Return the change by which a line always has one level, wherever it goes."""
    return through_table(board, [Expression((line,))], [level, level], _in_place_of(board, [Expression((line,))]))


def bridge(board: Board, first: Expression, second: Expression, *, high_wins: bool) -> Change | None:
    """Return the change by which two drivers of pins make one level, wherever they go; None where that is a loop.

    A constant wins over any driver. Outputs that also drive ladders are left to the faults of data lines.
    """
    plain = [driver.lines[0] for driver in (first, second) if not is_gate(driver)]
    on_ladders = {board.outputs[name] for name in board.ladder.lines}
    if _feeds(board, first, second) or not on_ladders.isdisjoint(map(board.resolve, plain)):
        return None
    constants = [line.index for line in plain if line.signal is Signal.CONSTANT]
    mixed = 3 * (constants[0] if constants else high_wins)
    outputs = [mixed] * 4 if constants else [0, mixed, mixed, 3]
    return through_table(board, [first, second], outputs, _in_place_of(board, [first, second]))


def missing_gate(board: Board, memory: Memory, pin: int, passed: Line) -> Change | None:
    """Return the change by which a line passes straight to a pin that a gate should drive."""
    driver = memory.address[pin]
    inputs, place = [Expression((line,)) for line in driver.lines], driver.lines.index(passed)
    outputs = [state >> place & 1 for state in range(1 << len(inputs))]

    def rewire(other: Memory, at: int, held: Expression, output: Callable[[int], Line]) -> Expression:
        return Expression((output(0),)) if (other.name, at) == (memory.name, pin) else held

    return through_table(board, inputs, outputs, rewire)


def is_gate(driver: Expression) -> bool:
    """Whether a gate drives a pin: an inverter or an exclusive-or."""
    return driver.inverted or len(driver.lines) > 1


def _feeds(board: Board, first: Expression, second: Expression) -> bool:
    """Whether one of two drivers is an input of the other's gate."""
    lines = [{board.resolve(line) for line in driver.lines} for driver in (first, second)]
    return any(not is_gate(one) and lines[at] <= lines[1 - at] for at, one in enumerate((first, second)))


def _in_place_of(board: Board, drivers: Sequence[Expression]) -> Rewire:
    """Put output n of the table in place of driver n: of a plain line wherever it goes, of a gate at its pins."""
    lines = {board.resolve(driver.lines[0]): bit for bit, driver in enumerate(drivers) if not is_gate(driver)}
    gates = {driver: bit for bit, driver in enumerate(drivers) if is_gate(driver)}

    def rewire(_: Memory, __: int, driver: Expression, output: Callable[[int], Line]) -> Expression:
        if driver in gates:
            return Expression((output(gates[driver]),))
        resolved = map(board.resolve, driver.lines)
        changed = tuple(
            output(lines[found]) if found in lines else line for line, found in zip(driver.lines, resolved, strict=True)
        )
        return Expression(changed, driver.inverted)

    return rewire


class FaultyLadder(Ladder):
    """A ladder with resistors of wrong values: ``changed`` in ohms, infinity for one that is missing."""

    changed: Mapping[Place, float]

    def resistors_of(self, channel: Channel) -> tuple[Resistor, ...]:
        """Return the channel's resistors as they are."""
        return tuple(
            replace(resistor, ohms=self.changed.get((channel.name, resistor.name), resistor.ohms))
            for resistor in super().resistors_of(channel)
        )


def resistors(ladder: Ladder) -> dict[Place, float]:
    """Return the ohms of all resistors of a ladder, the monitor's left out."""
    return {
        (channel.name, resistor.name): resistor.ohms
        for channel in ladder.channels
        for resistor in ladder.resistors_of(channel)
        if resistor.name != LOAD
    }


def with_resistors(board: Board, changed: Mapping[Place, float]) -> Board | None:
    """Return a board some of whose resistors have other values, in ohms; None where nothing holds a voltage then."""
    ladder = board.ladder
    fields = {name: getattr(ladder, name) for name in ladder.__dataclass_fields__}
    faulty = replace(board, ladder=FaultyLadder(**fields, changed=changed))
    try:
        _ = faulty.palette
    except ValueError:
        return None
    return faulty
