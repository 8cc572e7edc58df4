"""The time that every memory's word is held, and what of it the word is valid."""

from ladderlight.board.model.board import Board
from ladderlight.board.scanning.timing import REGISTER_SETUP, Timing, timings
from ladderlight.proof.plots import drawing as svg
from ladderlight.units.words import nanoseconds

_BAR, _GAP = 18.0, 20.0
_ROOM = 1.04


def timing_plot(board: Board) -> str:
    """Plot, for each memory, what its output shows from the clock edge until its word is replaced.

    A direct output shows the old word, then undefined data, then the word; before a register the address, the access
    and the set-up pass. All memories share one scale. A hold that is much longer than any access runs out of the plot.
    """
    found = list(timings(board).values())
    ends = [timing.hold - timing.left if timing.left is not None else 0.0 for timing in found]
    span = max(*ends, min(timing.hold for timing in found)) * _ROOM
    parts: list[str] = []
    y = 0.0
    for timing in found:
        row, y = _row(board, timing, y, span)
        parts += row
    label = "Timing: " + "; ".join(f"{timing.memory} {verdict(timing)}" for timing in found)
    parts += svg.scale(y, span, svg.round_step(span, 10), 1e-9, "time since the clock edge, ns")
    return svg.drawing(y + 34, label, parts)


def verdict(timing: Timing) -> str:
    """Return in words what a memory's timing means for what it puts out."""
    hold, undefined, left = nanoseconds(timing.hold), timing.undefined, timing.left
    if undefined is None or left is None:
        return f"held {hold}; its access time is not given"
    if timing.output == "register":
        return f"{left * 1e9:.1f} of {hold} left" if left >= 0 else f"{nanoseconds(-left)} too late for {hold}"
    words = f"undefined {undefined * 1e9:.1f} of {hold}"
    if timing.never_whole:
        return f"{words}: never valid"
    if timing.run > 1 and timing.quick is not None and timing.quick != timing.arrival:
        words += f" in one word of {timing.run}, else {max(0.0, timing.quick - timing.old) * 1e9:.1f}"
    return words


def _pieces(timing: Timing) -> list[tuple[str, float, float, str]]:
    """Return what passes one after the other within the hold, and past it where the word comes too late.

    Each in words, with its start and end in seconds and its colour.
    """
    if timing.arrival is None or timing.access is None:
        return []
    arrival = timing.arrival
    if timing.output == "register":
        ready, due = arrival - timing.access, arrival + REGISTER_SETUP
        pieces = [
            ("address", 0.0, ready, svg.MUTED),
            ("access", ready, arrival, svg.LINE),
            ("set-up", arrival, due, svg.WARN),
            ("left", due, timing.hold, svg.ACCENT),
        ]
    else:
        pieces = [
            ("old word", 0.0, timing.old, svg.MUTED),
            ("undefined", timing.old, arrival, svg.WARN),
            ("valid", arrival, timing.hold, svg.ACCENT),
        ]
    return [
        (f"{name} {nanoseconds(stop - start)}", start, stop, fill)
        for name, start, stop, fill in pieces
        if stop - start > 1e-13
    ]


def _row(board: Board, timing: Timing, top: float, span: float) -> tuple[list[str], float]:
    def place(seconds: float) -> float:
        return min(seconds, span) / span * svg.WIDTH

    memory = board.memory(timing.memory)
    title = f"{memory.name}: {memory.part.number}, {timing.output} output"
    late = timing.left is not None and timing.left < 0
    y, pieces = top + 38, _pieces(timing)
    parts = [*svg.heading(title, verdict(timing), top=top, warn=late)]
    parts.append(svg.rectangle(0, y, place(timing.hold), _BAR, fill="none", stroke=svg.MUTED))
    for words, start, stop, fill in pieces:
        parts.append(svg.rectangle(place(start), y, place(stop) - place(start), _BAR, fill=fill, title=words))
    if timing.hold <= span:
        parts.append(svg.line(place(timing.hold), y - 4, place(timing.hold), y + _BAR + 4, stroke=svg.INK, width=2))
    written, end = svg.keys(y + _BAR + 18, [(words, fill) for words, _, _, fill in pieces])
    return [*parts, *written], end + _GAP
