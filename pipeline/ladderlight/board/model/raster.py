"""Monitor modes, the raster that the board's clock makes of one, and what its counters read."""

from fractions import Fraction
from functools import cached_property
from math import floor, gcd

import numpy as np
from numpy.typing import ArrayLike

from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints

TOLERANCE = 0.005
"""Allowed deviation of a mode's dot clock: DMT's general 0.5 % (from memory)."""
USABLE = 0.02
"""Deviation up to which the raster of a clock that is off is still worked out like that of the clock that is meant."""


class Axis(Frozen):
    """One direction of a mode, in monitor pixels or in lines."""

    active: int
    front_porch: int
    sync: int
    back_porch: int
    positive: bool
    """Polarity of the sync pulse."""

    @property
    def total(self) -> int:
        """Active part and blanking together."""
        return self.active + self.front_porch + self.sync + self.back_porch


class Mode(Frozen):
    """A monitor mode: dot clock in hertz, both directions, and the proportions of the screen that shows it."""

    name: str
    dot_clock: Fraction
    horizontal: Axis
    vertical: Axis
    screen_aspect: Fraction = Fraction(4, 3)

    @property
    def line_rate(self) -> Fraction:
        """Lines a second."""
        return self.dot_clock / self.horizontal.total

    @property
    def dot_aspect(self) -> Fraction:
        """Width over height of one monitor pixel."""
        return self.screen_aspect * self.vertical.active / self.horizontal.active


def _mode(name: str, mhz: str, horizontal: str, vertical: str, polarity: str) -> Mode:
    axes = []
    for text, sign in zip((horizontal, vertical), polarity, strict=True):
        active, front, sync, back, total = map(int, text.split("/"))
        axis = Axis(active=active, front_porch=front, sync=sync, back_porch=back, positive=sign == "+")
        if axis.total != total:
            raise ValueError(f"{name}: {text} does not add up")
        axes.append(axis)
    return Mode(name=name, dot_clock=Fraction(mhz) * 1_000_000, horizontal=axes[0], vertical=axes[1])


# VESA Display Monitor Timings (DMT). 720x400@70 is the older industry-standard text mode, which DMT listings give with
# other numbers. The borders of 8 that DMT gives the modes 640x480@60 and @72 count as porch here.
MODES = {
    mode.name: mode
    for mode in (
        _mode("640x350@70", "25.175", "640/16/96/48/800", "350/37/2/60/449", "+-"),
        _mode("640x400@70", "25.175", "640/16/96/48/800", "400/12/2/35/449", "-+"),
        _mode("720x400@70", "28.322", "720/18/108/54/900", "400/12/2/35/449", "-+"),
        _mode("640x480@60", "25.175", "640/16/96/48/800", "480/10/2/33/525", "--"),
        _mode("640x480@72", "31.5", "640/24/40/128/832", "480/9/3/28/520", "--"),
        _mode("640x480@75", "31.5", "640/16/64/120/840", "480/1/3/16/500", "--"),
        _mode("800x600@56", "36", "800/24/72/128/1024", "600/1/2/22/625", "++"),
        _mode("800x600@60", "40", "800/40/128/88/1056", "600/1/4/23/628", "++"),
        _mode("800x600@72", "50", "800/56/120/64/1040", "600/37/6/23/666", "++"),
        _mode("800x600@75", "49.5", "800/16/80/160/1056", "600/1/3/21/625", "++"),
        _mode("1024x768@60", "65", "1024/24/136/160/1344", "768/3/6/29/806", "--"),
    )
}


class Counts(Frozen):
    """One direction of the raster in counts from the first visible one: front porch, sync and back porch follow."""

    visible: int
    sync_start: int
    sync_end: int
    total: int


class Raster(Frozen):
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


class Counter(Frozen):
    """The x or the y counter.

    It reads ``start`` at the first visible count and counts up. Its reset makes ``reset`` of it, so that it has counted
    the total of ``counts`` from there; None is a counter that is preset to ``start`` at the first visible count. It
    wraps at its width. ``wired`` is the number of bits that addresses need; ``delay`` is by how many counts sync and
    blanking are later than in the raster.
    """

    start: int
    counts: Counts
    reset: int | None = None
    wired: int = 0
    delay: int = 0

    @property
    def reset_to(self) -> int:
        """What its reset makes of it."""
        return self.start if self.reset is None else self.reset

    @property
    def highest(self) -> int:
        """What it would reach before its reset if it were wide enough not to wrap."""
        return self.reset_to + self.counts.total - 1

    @property
    def bits(self) -> int:
        """Its width: enough for its total, its start, its reset and the bits that are wired."""
        return max(*(count.bit_length() for count in (self.counts.total - 1, self.start, self.reset_to)), self.wired)

    @property
    def ahead(self) -> int:
        """Counts from its reset to the first visible one."""
        return (self.start - self.reset_to) % (1 << self.bits)

    @property
    def last(self) -> int:
        """What it reads before its reset."""
        return self.at(-self.ahead - 1)

    def read(self, count: ArrayLike) -> Ints:
        """Return its readings at counts from the first visible one, int64; counts of other lines wrap."""
        passed = (np.asarray(count, dtype=np.int64) + self.ahead) % self.counts.total
        return np.asarray(self.reset_to + passed & (1 << self.bits) - 1)

    def at(self, count: int) -> int:
        """Return its reading at one count."""
        return int(self.read(count))

    @property
    def blanking_start(self) -> int:
        """What it reads where blanking begins."""
        return self.at(self.counts.visible + self.delay)

    @property
    def blanking_end(self) -> int:
        """What it reads where the monitor's picture begins again: after the last count of blanking."""
        return self.at(self.delay)

    @property
    def sync_start(self) -> int:
        """What it reads where sync begins."""
        return self.at(self.counts.sync_start + self.delay)

    @property
    def sync_end(self) -> int:
        """What it reads after the last count of sync."""
        return self.at(self.counts.sync_end + self.delay)
