"""Findings about timing: the clock, with the oscillators that are sold, the counters, and the speed of memories."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import product
from math import log

from ladderlight.board.model.board import Board
from ladderlight.board.model.memory import PARTS, Memory
from ladderlight.board.model.raster import TOLERANCE, USABLE, Counter, Raster
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
from ladderlight.units.words import counted, frequency, joined, nanoseconds, percent

# Frequencies in megahertz that are commonly kept in stock as crystals or oscillators (common practice, no source).
_SOLD = """
    1 1.8432 2 2.4576 3.579545 3.6864 4 4.096 4.194304 4.433619 4.9152 5 6 6.144 7.3728 8 9.8304 10 11.0592 12 12.288
    12.5 13.5 14.31818 14.7456 15 16 16.384 18.432 19.6608 20 22.1184 24 24.576 25 25.175 26 27 28.322 28.63636 29.4912
    30 31.5 32 33 33.333 36 36.864 40 44.2368 48 49.152 49.5 50 50.35 54 60 64 65 66 66.666 70 72 74.25 75 80 100 125
"""
OSCILLATORS: tuple[Fraction, ...] = tuple(Fraction(mhz) * 1_000_000 for mhz in _SOLD.split())
"""In hertz."""

_DIVISIONS = {1: "", 2: " halved", 4: " divided by 4", 8: " divided by 8"}
_LEFT = {
    "black": "black",
    "fill": "the fill before the picture",
    "picture": "words of other places of the picture",
    "unknown": "the words read before the picture",
}
MOST_SHIFTS = 6
"""Number of x bits by which a wider repeat is searched."""


def fitting_sources(raster: Raster, most: int = 3) -> list[tuple[Fraction, int]]:
    """Return sources of clocks that fit a raster's mode, those nearest to its clock first.

    Each is an oscillator that is sold, in hertz, and what flip-flops divide it by. Of sources of nearly the same clock,
    only the one with the smallest deviation from the mode and the fewest flip-flops is returned.
    """
    best: dict[Fraction, tuple[float, int, Fraction]] = {}
    for oscillator, division in product(OSCILLATORS, _DIVISIONS):
        trial = Raster(mode=raster.mode, clock=oscillator / division)
        rank = (round(abs(trial.deviation), 6), division, oscillator)
        if trial.whole and (trial.ratio not in best or rank[:2] < best[trial.ratio][:2]):
            best[trial.ratio] = rank
    sources = [(oscillator, division) for _, division, oscillator in best.values()]
    return sorted(sources, key=lambda source: abs(log(source[0] / source[1] / raster.clock)))[:most]


def source_in_words(oscillator: Fraction, division: int) -> str:
    """Return a source of a clock as in ``12.5875 MHz (25.175 MHz halved)``."""
    made = f" ({frequency(oscillator)}{_DIVISIONS[division]})" if division > 1 else ""
    return frequency(oscillator / division) + made


def clock_findings(board: Board) -> Iterator[Finding]:
    """Yield a finding when the clock does not fit the mode, with the oscillators that do."""
    raster = board.raster
    if raster.whole:
        return
    off = abs(raster.deviation)
    sources = [source_in_words(*source) for source in fitting_sources(raster)]
    clocks = joined(sources or [frequency(clock) for clock in raster.fitting_clocks(3)], "or")
    rate = f"{frequency(raster.line_rate)} ({raster.deviation:+.2%} from {raster.mode.name})"
    visible = f"{raster.x.visible} visible"
    if raster.filling != raster.x.visible:
        visible += f" of the {float(raster.filling):.4g} that would fill the screen"
    counts = f"{raster.x.total} counts a line ({visible})"
    if off <= TOLERANCE:
        yield Finding.note(
            "clock",
            f"{frequency(raster.clock)} does not divide the mode's {frequency(raster.mode.dot_clock)} evenly, "
            f"but {counts} give {rate}, within tolerance; {clocks} would fit exactly",
        )
        return
    yield Finding(
        level="caution" if off <= USABLE else "error",
        where="clock",
        message=f"{frequency(raster.clock)} with {counts} gives a line rate of {rate}, which the monitor may not "
        f"follow and an unprotected tube monitor may be damaged by; use {clocks}, and see the monitor's manual for its "
        "limits",
    )


def counter_findings(board: Board) -> Iterator[Finding]:
    """Yield what is assumed of a counter that does not begin at 0 with the picture."""
    for name, counter in (("x", board.x_counter), ("y", board.y_counter)):
        spare = counter.counts.total - counter.counts.visible
        if counter.reset is None and 0 < counter.start <= spare:
            cleared = replace(counter, reset=0)
            now, then = _differing(counter, cleared)
            yield Finding.note(
                "counters",
                f"the {name} counter is taken to be preset to {counter.start} at the first visible place, so "
                f"{now}; set {name}_reset = 0 if it is reset to 0 after {cleared.last}{then}",
            )


def _differing(preset: Counter, cleared: Counter) -> tuple[str, str]:
    """Return what begins at another reading in the one than in the other; the last reading always differs."""
    for part, one, other in (
        ("sync", preset.sync_start, cleared.sync_start),
        ("the back porch", preset.sync_end, cleared.sync_end),
    ):
        if one != other:
            return f"{part} begins at {one}", f" and {part} begins at {other}"
    return f"its last count is {preset.last}", ""


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
    counts, dots = counted(abs(late - delay), "count"), float(abs(late - delay) / board.raster.ratio)
    wide = f"{counts} ({dots:.3g} monitor pixel{'s' * (dots != 1)})"
    now = f"blanking_delay is {delay}" if delay else "sync and blanking are not delayed"
    if late > delay:
        what = f"of each line the left {wide} show {_LEFT[first_shown(board)]}, and as many are cut off at the right"
    else:
        what = f"of each line the left {wide} are cut off, and as many after the picture's end are shown"
    cause = f"registers delay the picture by {counted(late, 'count')}" if late else "no register delays the picture"
    remedy = f"delay sync and blanking by {counted(late, 'count')} and " * (late > 0)
    if late != delay:
        yield Finding.caution("counters", f"{cause}, but {now}: {what}; {remedy}set blanking_delay = {late}")
