"""Colour differences between a picture and what is shown of it, after some blur."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats
from ladderlight_stages.perception.lab_loops import ciede2000


@dataclass(frozen=True, kw_only=True)
class Difference:
    """CIEDE2000 differences over a picture: their mean and their 95th percentile."""

    mean: float
    p95: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison(ABC):
    """Comparison with a picture: ``reference`` float32 or float64 (height, width, 3), linear light."""

    reference: NDArray[np.floating]

    @abstractmethod
    def lab(self, linear: NDArray[np.floating]) -> Floats:
        """Return CIELAB, float64 (rows, columns, 3), of what the blur leaves of a picture of the reference's shape."""

    @cached_property
    def wanted(self) -> Floats:
        """CIELAB of what the blur leaves of the reference."""
        return self.lab(self.reference)

    def differences(self, shown: NDArray[np.floating]) -> Floats:
        """Return the CIEDE2000 differences of ``shown`` from the reference, float64 (rows, columns)."""
        return np.asarray(ciede2000(self.wanted, self.lab(shown)))

    def error(self, shown: NDArray[np.floating]) -> Difference:
        """Return the mean and the 95th percentile of the differences."""
        found = self.differences(shown)
        return Difference(mean=float(found.mean()), p95=float(np.percentile(found, 95)))
