"""Findings about the clock, with the oscillators that are sold, and about the counters' readings."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import log

from ladderlight.board.model.board import Board
from ladderlight.board.model.raster import TOLERANCE, USABLE, Counter, Raster
from ladderlight.errors import Finding
from ladderlight.units.words import frequency, joined

# Frequencies in megahertz that are commonly kept in stock as crystals or oscillators (common practice, no source).
_SOLD = """
    1 1.8432 2 2.4576 3.579545 3.6864 4 4.096 4.194304 4.433619 4.9152 5 6 6.144 7.3728 8 9.8304 10 11.0592 12 12.288
    12.5 13.5 14.31818 14.7456 15 16 16.384 18.432 19.6608 20 22.1184 24 24.576 25 25.175 26 27 28.322 28.63636 29.4912
    30 31.5 32 33 33.333 36 36.864 40 44.2368 48 49.152 49.5 50 50.35 54 60 64 65 66 66.666 70 72 74.25 75 80 100 125
"""
OSCILLATORS: tuple[Fraction, ...] = tuple(Fraction(mhz) * 1_000_000 for mhz in _SOLD.split())
"""In hertz."""

_DIVISIONS = {1: "", 2: " halved", 4: " divided by 4", 8: " divided by 8"}


@dataclass(frozen=True, kw_only=True)
class Source:
    """A clock made from an oscillator that is sold, divided by flip-flops or not. Frequencies in hertz."""

    oscillator: Fraction
    division: int

    @property
    def clock(self) -> Fraction:
        """The counter's clock."""
        return self.oscillator / self.division

    def __str__(self) -> str:
        if self.division == 1:
            return frequency(self.clock)
        return f"{frequency(self.clock)} ({frequency(self.oscillator)}{_DIVISIONS[self.division]})"


def fitting_sources(raster: Raster, most: int = 3) -> list[Source]:
    """Return the sources of clocks that fit a raster's mode, those nearest to its clock first.

    Of sources of nearly the same clock, only the one with the smallest deviation from the mode and the fewest
    flip-flops is returned.
    """
    best: dict[Fraction, tuple[float, int, Source]] = {}
    for oscillator in OSCILLATORS:
        for division in _DIVISIONS:
            source = Source(oscillator=oscillator, division=division)
            trial = Raster(mode=raster.mode, clock=source.clock)
            if trial.whole:
                rank = (round(abs(trial.deviation), 6), division, source)
                if trial.ratio not in best or rank[:2] < best[trial.ratio][:2]:
                    best[trial.ratio] = rank
    sources = [source for _, _, source in best.values()]
    return sorted(sources, key=lambda source: abs(log(source.clock / raster.clock)))[:most]


def clock_findings(board: Board) -> Iterator[Finding]:
    """Yield a finding when the clock does not fit the mode, with the oscillators that do."""
    raster = board.raster
    if raster.whole:
        return
    off = abs(raster.deviation)
    sources = [str(source) for source in fitting_sources(raster)]
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
