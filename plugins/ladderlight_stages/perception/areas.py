"""How different the areas of two pictures are, whatever dots they are made of: colour error."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.blur_loops import blurred
from ladderlight_stages.perception.comparison import Comparison
from ladderlight_stages.perception.lab_loops import lab_from
from ladderlight_stages.perception.primaries import SHARES_FROM_LINEAR

BLUR = 2.0
"""Standard deviation in pixels of the shorter side: dots are gone, areas are still there."""
_SMALL = 160 * 120
_REACH = 4.0
"""Standard deviations to which the blur is followed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Areas(Comparison):
    """A picture's areas: CIEDE2000 after a Gaussian blur in linear light, the picture reflected at its edges.

    ``aspect`` is a pixel's width over its height. With a ``step`` of 2 every second pixel across and down is compared,
    with 3 every third, and so on: after the blur its neighbours hardly differ from it.
    """

    aspect: float = 1.0
    step: int = 1

    def lab(self, linear: NDArray[np.floating]) -> Floats:
        """Return CIELAB, float64 (rows, columns, 3), of every ``step``-th pixel after the blur."""
        light: Singles = np.require(linear, np.float32, ["C", "A", "W"])
        across, down = _gaussian(BLUR / max(self.aspect, 1.0)), _gaussian(BLUR * min(self.aspect, 1.0))
        return np.asarray(lab_from(blurred(light, across, down, self.step), SHARES_FROM_LINEAR))


def step_for(pixels: int) -> int:
    """Return the step for a picture of so many pixels with which means are within about 2 % of those of all."""
    return min(1 + round(sqrt(pixels / _SMALL)), 4)


@lru_cache(maxsize=8)
def _gaussian(sigma: float) -> Singles:
    """Return weights by pixel, float32 (2 n + 1,); their sum is 1."""
    reach = int(np.ceil(_REACH * sigma))
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return np.asarray(weights / weights.sum(), dtype=np.float32)
