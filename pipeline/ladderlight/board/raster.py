"""A monitor mode as counted by the board's clock."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import gcd

from ladderlight.board.modes import TOLERANCE, Axis, Mode

USABLE = 0.02
"""Deviation up to which the raster of a clock that is off is still worked out like that of the clock that is meant."""


@dataclass(frozen=True, kw_only=True)
class Counts:
    """One direction of the raster in counts: visible part first, then front porch, sync, back porch."""

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
        """Counts per monitor pixel: the ratio nearest to clock / dot clock that gives whole counts.

        An exact ratio is taken as it is. Among inexact ones the simplest within the tolerance wins, then the simplest
        within 2 %, then the nearest.
        """
        exact = self.clock / self.mode.dot_clock
        steps = gcd(self.mode.horizontal.active, self.mode.horizontal.total)
        if (exact * steps).denominator == 1:
            return exact
        nearest = round(exact * steps) or 1
        candidates = [
            Fraction(k, steps)
            for k in range(max(1, int(nearest * (1 - 2 * USABLE)) - 1), int(nearest * (1 + 2 * USABLE)) + 2)
        ]
        for limit in (TOLERANCE, USABLE):
            within = [ratio for ratio in candidates if abs(exact / ratio - 1) <= limit]
            simple = [ratio for ratio in within if 1 in (ratio.numerator, ratio.denominator)]
            if simple:
                return min(simple, key=lambda ratio: abs(exact / ratio - 1))
        return min(candidates, key=lambda ratio: abs(exact / ratio - 1))

    @property
    def deviation(self) -> float:
        """Relative deviation of the line rate from the mode's; 0.01 is one per cent too fast."""
        return float(self.line_rate / self.mode.line_rate) - 1

    @property
    def whole(self) -> bool:
        """Whether the clock fits the mode: a whole ratio, or one that gives whole counts, within the tolerance."""
        exact = self.clock / self.mode.dot_clock
        simple = 1 in (self.ratio.numerator, self.ratio.denominator)
        return exact == self.ratio or (simple and abs(self.deviation) <= TOLERANCE)

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
        visible=round(axis.active * ratio),
        sync_start=round((axis.active + axis.front_porch) * ratio),
        sync_end=round((axis.active + axis.front_porch + axis.sync) * ratio),
        total=round(axis.total * ratio),
    )
