"""A monitor mode as counted by the board's clock."""

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import floor, gcd

from ladderlight.board.model.modes import TOLERANCE, Axis, Mode

USABLE = 0.02
"""Deviation up to which the raster of a clock that is off is still worked out like that of the clock that is meant."""


@dataclass(frozen=True, kw_only=True)
class Counts:
    """One direction of the raster in counts from the first visible one: front porch, sync and back porch follow."""

    visible: int
    sync_start: int
    sync_end: int
    total: int


@dataclass(frozen=True, kw_only=True)
class Raster:
    """A mode and the frequency in hertz that steps the x counter. The y counter steps once a line."""

    mode: Mode
    clock: Fraction

    @cached_property
    def ratio(self) -> Fraction:
        """Counts per monitor pixel.

        A ratio of clock to dot clock that gives whole counts is taken as it is. An inexact one within 2 % of n or 1/n
        counts like that. Any other is rounded to whole counts a line, nearest to the mode's line rate.
        """
        exact = self.clock / self.mode.dot_clock
        axis = self.mode.horizontal
        steps = gcd(axis.active, axis.total)
        if (exact * steps).denominator == 1:
            return exact
        whole = [Fraction(round(exact) or 1), *(Fraction(1, n) for n in range(1, steps + 1) if steps % n == 0)]
        simple = [ratio for ratio in whole if abs(exact / ratio - 1) <= USABLE]
        if simple:
            return min(simple, key=lambda ratio: abs(exact / ratio - 1))
        return Fraction(max(round(exact * axis.total), axis.total // steps), axis.total)

    @property
    def filling(self) -> Fraction:
        """Counts that would fill the monitor's active part: more than are visible where that is not a whole number."""
        return self.mode.horizontal.active * self.ratio

    @property
    def dots_per_count(self) -> int:
        """Monitor pixels that each count covers; 0 where that is not a whole number."""
        return self.ratio.denominator if self.ratio.numerator == 1 and self.filling == self.x.visible else 0

    @property
    def deviation(self) -> float:
        """Relative deviation of the line rate from the mode's; 0.01 is one per cent too fast."""
        return float(self.line_rate / self.mode.line_rate) - 1

    @property
    def whole(self) -> bool:
        """Whether the clock fits the mode: a whole ratio, or one that gives whole counts, within the tolerance."""
        exact = self.clock / self.mode.dot_clock
        simple = 1 in (self.ratio.numerator, self.ratio.denominator)
        fills = self.filling == self.x.visible
        return fills and (exact == self.ratio or (simple and abs(self.deviation) <= TOLERANCE))

    @cached_property
    def x(self) -> Counts:
        """Counts along a line."""
        return _counts(self.mode.horizontal, self.ratio)

    @cached_property
    def y(self) -> Counts:
        """Counts down the screen: lines."""
        return _counts(self.mode.vertical, Fraction(1))

    @property
    def line_rate(self) -> Fraction:
        """Lines a second as the board makes them."""
        return self.clock / self.x.total

    @property
    def frame_rate(self) -> Fraction:
        """Frames a second as the board makes them."""
        return self.line_rate / self.y.total

    def fitting_clocks(self, most: int = 2) -> list[Fraction]:
        """Clocks in hertz nearest to the declared one that divide the dot clock into whole counts."""
        divisors = gcd(self.mode.horizontal.active, self.mode.horizontal.total)
        clocks = [self.mode.dot_clock / n for n in range(1, divisors + 1) if divisors % n == 0]
        clocks.append(self.mode.dot_clock * 2)
        return sorted(clocks, key=lambda clock: abs(clock / self.clock - 1))[:most]


def _counts(axis: Axis, ratio: Fraction) -> Counts:
    return Counts(
        visible=floor(axis.active * ratio),
        sync_start=round((axis.active + axis.front_porch) * ratio),
        sync_end=round((axis.active + axis.front_porch + axis.sync) * ratio),
        total=round(axis.total * ratio),
    )
