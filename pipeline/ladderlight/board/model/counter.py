"""What a counter of the raster reads at each count, its reset included."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ladderlight.board.model.raster import Counts
from ladderlight.units.arrays import Ints


@dataclass(frozen=True, kw_only=True)
class Counter:
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
