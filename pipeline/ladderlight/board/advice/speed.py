"""Findings about speed: whether each memory's word is valid in time, and what shows until then."""

from collections.abc import Iterator

from ladderlight.board.model.board import Board
from ladderlight.board.model.memory import PARTS, Memory
from ladderlight.board.scanning.blanking import first_shown
from ladderlight.board.scanning.timing import (
    MUCH_UNDEFINED,
    REGISTER_DELAY,
    REGISTER_SETUP,
    Timing,
    latency_in_counts,
    longest_access,
    timings,
)
from ladderlight.errors import Finding
from ladderlight.units.words import joined, nanoseconds, percent

_LEFT = {
    "black": "black",
    "fill": "the fill before the picture",
    "picture": "words of other places of the picture",
    "unknown": "the words read before the picture",
}
MOST_SHIFTS = 6
"""Number of x bits by which a wider repeat is searched."""


def speed_findings(board: Board) -> Iterator[Finding]:
    """Yield memories that are too slow, with remedies, undefined data at word changes, and shifts of the picture."""
    for timing in timings(board).values():
        memory = board.memory(timing.memory)
        if timing.access is None:
            yield _unknown(board, memory, timing)
        elif timing.never_whole or (timing.margin is not None and timing.margin < 0):
            yield _late(board, memory, timing)
        elif timing.margin is not None and timing.left is not None and timing.left < 0:
            yield Finding.caution(
                f"memory {memory.name}",
                f"{nanoseconds(timing.margin)} remain for its register's set-up time, commonly "
                f"{nanoseconds(REGISTER_SETUP)}; {_remedy(board, memory)}, or see the register's datasheet",
            )
        elif memory in board.driving_memories:
            yield from _disturbed(board, timing)
    yield from _shifted(board)


def _unknown(board: Board, memory: Memory, timing: Timing) -> Finding:
    longest = longest_access(board, memory)
    short = longest is not None and longest < timing.hold
    room = f" and must be valid within {nanoseconds(longest or 0.0)} of its address" if short else ""
    return Finding.note(
        f"memory {memory.name}",
        f"no access time is given, so its timing is not checked: a word is held "
        f'{nanoseconds(timing.hold)}{room}; set access = "... ns" from the datasheet',
    )


def _late(board: Board, memory: Memory, timing: Timing) -> Finding:
    if memory.output == "register":
        effect = "its register takes unfinished words"
    elif timing.never_whole:
        effect = "no word is ever shown whole"
    else:
        effect = f"one word in {timing.run} is never shown whole"
    return Finding(
        level="error" if memory.output == "register" or timing.never_whole else "caution",
        where=f"memory {memory.name}",
        message=f"too slow by {nanoseconds(abs(timing.margin or 0.0))}: a word needs "
        f"{nanoseconds(timing.arrival or 0.0)} and is held {nanoseconds(timing.hold)}, so {effect}; "
        f"{_remedy(board, memory)}",
    )


def _remedy(board: Board, memory: Memory) -> str:
    """Return the grade, the other part of the same size, the register or the repeat that would be fast enough."""
    ways = []
    hold = timings(board)[memory.name].hold
    longest = longest_access(board, memory)
    if longest is not None and longest > 0:
        ways.append(_faster(memory, longest))
    slow = [name for name in board.sources[memory.name] if board.memory(name).output == "direct"]
    setup = REGISTER_SETUP if memory.output == "register" else 0.0
    if slow and memory.access is not None and REGISTER_DELAY + memory.access + setup <= hold:
        ways.append(f"an output register on memory {joined(slow)}")
    if longest is not None and memory.access is not None:
        shifts = (shift for shift in range(1, MOST_SHIFTS) if longest + hold * ((1 << shift) - 1) >= memory.access)
        if shift := next(shifts, 0):
            ways.append(f"pixels {board.geometry.repeat_x << shift} counts wide (x bits {shift} higher)")
    return f"use {joined(ways, 'or')}" if ways else "use faster parts before it"


def _faster(memory: Memory, longest: float) -> str:
    grade = memory.part.grade_within(longest)
    if grade is not None:
        return f"the {grade * 1e9:.0f} ns grade of the {memory.part.number}"
    others = [
        f"{part.number} of {grade * 1e9:.0f} ns"
        for part in PARTS.values()
        if (part.words, part.width) == (memory.part.words, memory.part.width)
        and (grade := part.grade_within(longest)) is not None
    ]
    return f"a {joined(others, 'or')}" if others else f"a part of {nanoseconds(longest)} or faster"


def _disturbed(board: Board, timing: Timing) -> Iterator[Finding]:
    undefined, share = timing.undefined or 0.0, timing.undefined_share or 0.0
    dots = undefined * float(board.raster.mode.dot_clock)
    if undefined > 0:
        before = f"the old word for {nanoseconds(timing.old)} and then " if timing.old else ""
        yield Finding(
            level="caution" if share >= MUCH_UNDEFINED else "note",
            where=f"memory {timing.memory}",
            message=f"at each word change the monitor sees {before}undefined data for {dots:.1f} monitor pixels: "
            f"undefined for {undefined * 1e9:.1f} of {nanoseconds(timing.hold)}, {percent(share)} of the picture; "
            "an output register hides it",
        )


def _shifted(board: Board) -> Iterator[Finding]:
    late = {memory.name: latency_in_counts(board, memory) for memory in board.driving_memories}
    if len(set(late.values())) > 1:
        yield Finding.caution(
            "memory " + joined(list(late)),
            "their words reach the ladders "
            + joined([f"{counts} counts" for counts in late.values()])
            + " late, so the planes are shifted against each other; give all the same registers",
        )
    else:
        yield from _misplaced(board, max(late.values()))


def _misplaced(board: Board, late: int) -> Iterator[Finding]:
    delay = board.counters.blanking_delay
    counts, dots = _counts(abs(late - delay)), float(abs(late - delay) / board.raster.ratio)
    wide = f"{counts} ({dots:.3g} monitor pixel{'s' * (dots != 1)})"
    now = f"blanking_delay is {delay}" if delay else "sync and blanking are not delayed"
    if late > delay:
        what = f"of each line the left {wide} show {_LEFT[first_shown(board)]}, and as many are cut off at the right"
    else:
        what = f"of each line the left {wide} are cut off, and as many after the picture's end are shown"
    cause = f"registers delay the picture by {_counts(late)}" if late else "no register delays the picture"
    remedy = f"delay sync and blanking by {_counts(late)} and " * (late > 0)
    if late != delay:
        yield Finding.caution("counters", f"{cause}, but {now}: {what}; {remedy}set blanking_delay = {late}")


def _counts(number: int) -> str:
    return f"{number} count{'s' * (number != 1)}"
