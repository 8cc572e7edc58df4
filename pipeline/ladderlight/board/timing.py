"""How long each memory's word is held, against the time it needs."""

from __future__ import annotations

from dataclasses import dataclass

from ladderlight.board.board import Board
from ladderlight.board.lines import Signal
from ladderlight.board.memory import Memory


@dataclass(frozen=True, kw_only=True)
class Timing:
    """One memory's timing in seconds. ``arrival`` is when its output is valid after the clock edge."""

    memory: str
    hold: float
    access: float | None
    arrival: float | None

    @property
    def margin(self) -> float | None:
        """What is left of the hold when the output is valid; negative when it comes too late."""
        return None if self.arrival is None else self.hold - self.arrival


def timings(board: Board) -> dict[str, Timing]:
    """Work out every memory's timing, through the graph."""
    found: dict[str, Timing] = {}
    for memory in board.order:
        before = [found[name].arrival for name in board.sources[memory.name]]
        arrival = None
        if memory.access is not None and all(time is not None for time in before):
            arrival = max([board.counters.delay, *(time for time in before if time is not None)]) + memory.access
        found[memory.name] = Timing(
            memory=memory.name, hold=hold_of(board, memory), access=memory.access, arrival=arrival
        )
    return found


def hold_of(board: Board, memory: Memory) -> float:
    """Seconds that one word of a memory is held: as long as its fastest address line stands still."""
    period = float(1 / board.raster.clock)
    holds = [pixel_hold_of(board, board.memory(name)) for name in board.sources[memory.name]]
    x = board.lowest_bit(memory, Signal.X)
    if x is not None:
        holds.append(period * (1 << x))
    y = board.lowest_bit(memory, Signal.Y)
    if y is not None:
        holds.append(period * board.raster.x.total * (1 << y))
    return min(holds, default=period * board.raster.x.total * board.raster.y.total)


def pixel_hold_of(board: Board, memory: Memory) -> float:
    """Seconds between two changes of a memory's output: with packing, several in the time of one word."""
    return hold_of(board, memory) / memory.packing.pixels
