"""The timing chain of every memory as a bar against the time its word is held."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ladderlight.board.model.board import Board
from ladderlight.board.scanning.timing import REGISTER_SETUP, Timing, timings
from ladderlight.proof.plots.drawing import (
    AMBER,
    INK,
    PAPER,
    QUIET,
    RED,
    RULE,
    TEAL,
    WASH,
    WIDTH,
    drawing,
    line,
    rectangle,
    text,
)
from ladderlight.units.words import nanoseconds

_TOP, _ROW, _BAR = 8.0, 64.0, 22.0
_ROOM = 1.12


def timing_plot(board: Board) -> str:
    """Plot, for each memory, what passes from the clock edge until its word is valid, and what is left of the hold.

    All memories share one scale. A hold that is much longer than any chain runs out of the plot.
    """
    found = list(timings(board).values())
    chains = [_end(timing) or 0.0 for timing in found]
    span = max(*chains, min(timing.hold for timing in found)) * _ROOM
    parts = [part for row, timing in enumerate(found) for part in _row(board, timing, _TOP + row * _ROW, span)]
    height = _TOP + len(found) * _ROW + 22
    label = "Timing: " + "; ".join(f"{timing.memory} {_verdict(timing)}" for timing in found)
    return drawing(height, label, [*parts, *_axis(span, height)])


def _end(timing: Timing) -> float | None:
    """When a memory's word must have been there: with a register, its set-up time after it is valid."""
    return None if timing.left is None else timing.hold - timing.left


def _verdict(timing: Timing) -> str:
    left = timing.left
    if left is None:
        return f"held {nanoseconds(timing.hold)}, its access time is not known"
    return f"{nanoseconds(left)} left" if left >= 0 else f"{nanoseconds(-left)} too late"


@dataclass(frozen=True, kw_only=True)
class _Piece:
    name: str
    start: float
    stop: float
    fill: str


def _pieces(timing: Timing) -> list[_Piece]:
    """What passes one after the other until the word must be there."""
    if timing.arrival is None or timing.access is None:
        return []
    ready = timing.arrival - timing.access
    pieces = [
        _Piece(name="address", start=0.0, stop=ready, fill=QUIET),
        _Piece(name="access", start=ready, stop=timing.arrival, fill=TEAL),
    ]
    if timing.output == "register":
        pieces.append(_Piece(name="set-up", start=timing.arrival, stop=timing.arrival + REGISTER_SETUP, fill=AMBER))
    return [piece for piece in pieces if piece.stop > piece.start]


def _row(board: Board, timing: Timing, top: float, span: float) -> Iterator[str]:
    def place(seconds: float) -> float:
        return min(seconds, span) / span * WIDTH

    memory = board.memory(timing.memory)
    end = _end(timing)
    late = end is not None and end > timing.hold
    pieces = _pieces(timing)
    chain = ", ".join(f"{piece.name} {nanoseconds(piece.stop - piece.start)}" for piece in pieces)
    words = f"{memory.part.number}, {timing.output} output" + (f": {chain}" if chain else "")
    yield text(0, top + 14, memory.name, size=13, bold=True, more=words)
    yield text(WIDTH, top + 14, _verdict(timing), anchor="end", size=13, fill=RED if late else INK, bold=late)
    y = top + 22
    yield rectangle(0, y, place(timing.hold), _BAR, fill=WASH, stroke=RULE, title=f"held {nanoseconds(timing.hold)}")
    for piece in pieces:
        x, width = place(piece.start), place(piece.stop) - place(piece.start)
        title = f"{piece.name} {nanoseconds(piece.stop - piece.start)}"
        yield rectangle(x, y, width, _BAR, fill=piece.fill, title=title)
        if width > 7 * len(title):
            yield text(x + width / 2, y + 15, title, anchor="middle", size=11, fill=PAPER)
    if late and end is not None:
        yield rectangle(place(timing.hold), y + _BAR, place(end) - place(timing.hold), 5, fill=RED, title="too late")
    if timing.hold <= span:
        yield line(place(timing.hold), y - 5, place(timing.hold), y + _BAR + 5, width=2.5)
        words = f"held {nanoseconds(timing.hold)}"
        if place(timing.hold) > WIDTH / 2:
            yield text(place(timing.hold) - 5, y + _BAR + 13, words, anchor="end", size=11)
        else:
            yield text(place(timing.hold) + 5, y + _BAR + 16, words, size=11)
    else:
        yield text(WIDTH, y + _BAR + 13, f"held {nanoseconds(timing.hold)}, beyond the plot", anchor="end", size=11)


def _axis(span: float, height: float) -> Iterator[str]:
    y = height - 14
    yield line(0, y, WIDTH, y, stroke=QUIET)
    step = _round_step(span)
    ticks = int(span / step) + 1
    for tick in range(ticks):
        x = tick * step / span * WIDTH
        yield line(x, y - 3, x, y + 3, stroke=QUIET)
        words = f"{tick * step * 1e9:g}" + (" ns" if tick == ticks - 1 else "")
        yield text(x, y + 13, words, anchor="start" if tick == 0 else "middle", size=10, fill=QUIET)


def _round_step(span: float) -> float:
    """Return a round time of which some five to ten fit into a span."""
    decade = 1e-10
    while True:
        for factor in (1.0, 2.0, 5.0):
            if span / (decade * factor) <= 10:
                return decade * factor
        decade *= 10
