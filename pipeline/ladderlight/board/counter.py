"""What a counter of the raster reads at each count, its reset included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ladderlight.board.raster import Counts


@dataclass(frozen=True, kw_only=True)
class Counter:
    """The x or the y counter.

    It reads ``start`` at the first visible count. It counts up to the total of ``counts`` less one and is reset to 0.
    Where that reset would come within the picture, it is taken for one that is preset to ``start`` at the first visible
    count, and wraps at its width. ``wired`` is the number of bits that addresses need; ``delay`` by how many counts
    sync and blanking come later than the raster says.
    """

    start: int
    counts: Counts
    wired: int = 0
    delay: int = 0

    @property
    def preset(self) -> bool:
        """Whether it is preset to ``start``; otherwise it is reset to 0."""
        return self.start + self.counts.visible > self.counts.total

    @property
    def lowest(self) -> int:
        """What its reset makes of it."""
        return self.start if self.preset else 0

    @property
    def highest(self) -> int:
        """What it would reach before its reset if it were wide enough not to wrap."""
        return self.lowest + self.counts.total - 1

    @property
    def bits(self) -> int:
        """Its width: enough for its total, its start and the bits that are wired."""
        return max((self.counts.total - 1).bit_length(), self.start.bit_length(), self.wired)

    @property
    def last(self) -> int:
        """What it reads before its reset."""
        return self.at(self.highest - self.start)

    def read(self, count: ArrayLike) -> NDArray[np.int64]:
        """Give what it reads at counts from the first visible one: int64. Those of other lines are taken as of this."""
        passed = np.asarray(count, dtype=np.int64) + self.start - self.lowest
        return np.asarray(self.lowest + passed % self.counts.total & (1 << self.bits) - 1)

    def at(self, count: int) -> int:
        """Give what it reads at one count."""
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
