"""Colour differences between a picture and what is shown of it, after some blur."""

from abc import ABC, abstractmethod
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.lab_loops import ciede2000


class Difference(Frozen):
    """CIEDE2000 differences over a picture: their mean and their 95th percentile."""

    mean: float
    p95: float


def summary(differences: NDArray[np.floating]) -> Difference:
    """Return the mean and the 95th percentile, interpolated between the two nearest as NumPy does by default."""
    place = 0.95 * (differences.size - 1)
    below = int(place)
    ordered = np.partition(differences, below, axis=None)  # for both at once it would take twice as long
    above = ordered[below + 1 :].min(initial=np.inf) if below < place else ordered[below]
    p95 = ordered[below] + (place - below) * (above - ordered[below])
    return Difference(mean=float(differences.mean(dtype=np.float64)), p95=float(p95))


class Comparison(Frozen, ABC, eq=False):
    """Comparison with a picture: ``reference`` float32 or float64 (height, width, 3), linear light."""

    reference: NDArray[np.floating]

    @abstractmethod
    def lab(self, linear: NDArray[np.floating]) -> Floats | Singles:
        """Return CIELAB, (rows, columns, 3), of what the blur leaves of a picture of the reference's shape."""

    @cached_property
    def wanted(self) -> Floats | Singles:
        """CIELAB of what the blur leaves of the reference."""
        return self.lab(self.reference)

    def differences(self, shown: NDArray[np.floating]) -> Floats | Singles:
        """Return the CIEDE2000 differences of ``shown`` from the reference, (rows, columns)."""
        return np.asarray(ciede2000(self.wanted, self.lab(shown)))

    def error(self, shown: NDArray[np.floating]) -> Difference:
        """Return the mean and the 95th percentile of the differences."""
        return summary(self.differences(shown))
