"""The time that each memory's word is held, the time it needs, and what shows until it is valid."""

from collections.abc import Mapping

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Signal
from ladderlight.board.model.memory import Memory, Output
from ladderlight.system.frozen import Frozen

REGISTER_DELAY = 22e-9
"""From a register's clock edge to its output: 74HC574, 5 V, typical (from memory; the datasheet rules)."""

REGISTER_SETUP = 12e-9
"""Time that a word must be valid before a register's clock edge: 74HC574, 5 V (from memory; the datasheet rules)."""

MUCH_UNDEFINED = 0.1
"""Share of the picture from which on undefined data are a caution."""


class Timing(Frozen):
    """One memory's timing in seconds, counted from the clock edge that changes its address.

    Its address starts to change at ``start``; its output is valid at ``arrival``, None where an access time is not
    known. ``hold`` is the time to the next change. Only one word in ``run`` waits for data of other memories; the
    others are valid at ``quick``.
    """

    memory: str
    output: Output
    hold: float
    access: float | None
    start: float
    arrival: float | None
    quick: float | None
    run: int

    @property
    def margin(self) -> float | None:
        """The rest of the hold once the word is valid; negative when the word comes too late.

        The set-up time of a register is not subtracted.
        """
        return None if self.arrival is None else self.hold - self.arrival

    @property
    def left(self) -> float | None:
        """What the set-up time of a register leaves of the margin; negative when the word comes too late for it."""
        return None if self.margin is None else self.margin - (REGISTER_SETUP if self.output == "register" else 0.0)

    @property
    def old(self) -> float:
        """The time that the output shows the old word after the clock edge. A register changes at once."""
        return 0.0 if self.output == "register" else min(self.start, self.hold)

    @property
    def undefined(self) -> float | None:
        """The time that the output then shows undefined data.

        A direct output until the word arrives, at most for the rest of the hold. A register shows nothing undefined,
        unless the word comes after its clock edge: then it may have taken anything, for the whole hold.
        """
        return None if self.arrival is None else self._undefined(self.arrival)

    @property
    def undefined_share(self) -> float | None:
        """Share of the time, over all words, in which the output shows undefined data: 0 to 1."""
        if self.arrival is None or self.quick is None:
            return None
        if self.output == "register":
            return self._undefined(self.arrival) / self.hold
        return (self._undefined(self.arrival) + (self.run - 1) * self._undefined(self.quick)) / (self.run * self.hold)

    @property
    def never_whole(self) -> bool:
        """Whether no word is valid before the next one is addressed."""
        soonest = self.arrival if self.run == 1 else self.quick
        return self.output == "direct" and soonest is not None and soonest >= self.hold

    def _undefined(self, arrival: float) -> float:
        if self.output == "register":
            return self.hold if arrival > self.hold else 0.0
        return max(0.0, min(arrival, self.hold) - self.old)


def timings(board: Board) -> dict[str, Timing]:
    """Return every memory's timing, by name, for the slowest path to it."""
    found: dict[str, Timing] = {}
    for memory in board.order:
        start, ready = _address_times(board, memory, found)
        sources = [hold_in_counts(board, board.memory(name)) for name in board.sources[memory.name]]
        hold = hold_in_counts(board, memory)
        found[memory.name] = Timing(
            memory=memory.name,
            output=memory.output,
            hold=float(hold / board.raster.clock),
            access=memory.access,
            start=start,
            arrival=None if memory.access is None or ready is None else ready + memory.access,
            quick=None if memory.access is None else board.counters.delay + memory.access,
            run=max(1, min(sources, default=0) // hold),
        )
    return found


def _address_times(board: Board, memory: Memory, found: Mapping[str, Timing]) -> tuple[float, float | None]:
    """Return when a memory's address starts to change and when it is stable, None when that is not known."""
    signals, delay = {line.signal for line in board.address_lines(memory)}, board.counters.delay
    times: list[tuple[float, float | None]] = [(delay, delay)] if signals & {Signal.X, Signal.Y} else []
    for source in map(found.__getitem__, board.sources[memory.name]):
        registered = source.output == "register"
        times.append((REGISTER_DELAY, REGISTER_DELAY) if registered else (source.start, source.arrival))
    known = [ready for _, ready in times if ready is not None]
    start = min((start for start, _ in times), default=0.0)
    return start, max(known, default=0.0) if len(known) == len(times) else None


def hold_in_counts(board: Board, memory: Memory) -> int:
    """Return for how many counts one word of a memory is held: as long as its fastest address line is steady.

    All of a frame for a constant address.
    """
    holds = [
        hold_in_counts(board, source) // source.packing.pixels
        for source in map(board.memory, board.sources[memory.name])
    ]
    steps = {Signal.X: 1, Signal.Y: board.raster.x.total}
    holds += [steps[line.signal] << line.index for line in board.address_lines(memory) if line.signal in steps]
    return min(holds, default=board.raster.x.total * board.raster.y.total)


def longest_access(board: Board, memory: Memory) -> float | None:
    """Return the longest access time in seconds that a memory may have; None when the time before it is not known.

    A register's set-up time comes off the hold.
    """
    found = timings(board)
    _, ready = _address_times(board, memory, found)
    if ready is None:
        return None
    return found[memory.name].hold - ready - (REGISTER_SETUP if memory.output == "register" else 0.0)


def is_clocked(board: Board, memory: Memory) -> bool:
    """Whether a memory has a register that shifts the picture: one that no x bit moves holds still along a line."""
    return memory.output == "register" and hold_in_counts(board, memory) < board.raster.x.total


def latency_in_counts(board: Board, memory: Memory) -> int:
    """Return by how many counts registers delay what a memory puts out: one hold for each on the slowest path."""
    own = hold_in_counts(board, memory) if is_clocked(board, memory) else 0
    return own + max((latency_in_counts(board, board.memory(name)) for name in board.sources[memory.name]), default=0)


def picture_delay(board: Board) -> int:
    """Return by how many counts registers delay the picture at the ladders."""
    return max(latency_in_counts(board, memory) for memory in board.driving_memories)


def undefined_share(board: Board) -> float | None:
    """Return the share of the picture's time in which the ladders' data are undefined, 0 to 1; None if not known."""
    found = timings(board)
    shares = [found[memory.name].undefined_share for memory in board.driving_memories]
    known = [share for share in shares if share is not None]
    return max(known) if len(known) == len(shares) else None
