"""Oscillators that are sold, and which of them clock a mode."""

from dataclasses import dataclass
from fractions import Fraction
from math import log

from ladderlight.board.model.raster import Raster
from ladderlight.units.words import frequency

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
        """Return the clock in words, with its oscillator."""
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
