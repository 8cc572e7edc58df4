"""How different the areas of two pictures are, whatever dots they are made of: colour error."""

from functools import lru_cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.perception.blur_loops import REACH, blurred_lab, differences_from
from ladderlight_stages.perception.comparison import Comparison
from ladderlight_stages.perception.luminance import SHARES_FROM_LINEAR

BLUR = 2.0
"""Standard deviation in pixels of the shorter side: dots are gone, areas are still there."""
_SMALL = 160 * 120
_FOLLOWED = REACH / BLUR  # standard deviations to which the blur is followed
_SHARES: Singles = SHARES_FROM_LINEAR.astype(np.float32)


class Areas(Comparison):
    """A picture's areas: CIEDE2000 after a Gaussian blur in linear light, the picture reflected at its edges.

    ``aspect`` is a pixel's width over its height. With a ``step`` of 2 every second pixel across and down is compared,
    with 3 every third, and so on: after the blur its neighbours hardly differ from it.
    """

    aspect: float = 1.0
    step: int = 1

    def lab(self, linear: NDArray[np.floating]) -> Singles:
        """Return CIELAB, float32 (rows, columns, 3), of one pixel of every ``step`` across and down after the blur."""
        light: Singles = np.require(linear, np.float32, ["C", "A", "W"])
        return blurred_lab(light, *self._weights, self.step, _SHARES)

    def differences_of(self, codes: Codes, colours: NDArray[np.floating]) -> Singles:
        """Return the differences of codes, uint16 (height, width), from the reference; (codes, 3) of linear light."""
        return differences_from(
            np.asarray(self.wanted, np.float32),
            np.require(codes, np.uint16, ["C", "A", "W"]),
            np.require(colours, np.float32, ["C", "A", "W"]),
            *self._weights,
            self.step,
            _SHARES,
        )

    @property
    def _weights(self) -> tuple[Singles, Singles]:
        return _gaussian(BLUR / max(self.aspect, 1.0)), _gaussian(BLUR * min(self.aspect, 1.0))


def step_for(pixels: int) -> int:
    """Return the step for a picture of so many pixels with which the mean is within 1 % of that of all pixels.

    Measured on the 18 photographs of ``visible.py``, in 64 and 256 colours: at most 0.9 % at 640x480 and 1.0 % at
    320x240; the 95th percentile within 1.7 %.
    """
    return max(1, min(round(sqrt(pixels / _SMALL)), 4))


@lru_cache(maxsize=8)
def _gaussian(sigma: float) -> Singles:
    """Return the weights of a pixel and of those on one side of it, float32 (1 + REACH,); ``sigma`` at most BLUR."""
    places = np.arange(1 + REACH)
    weights = np.exp(-0.5 * (places / sigma) ** 2) * (places <= np.ceil(_FOLLOWED * sigma))
    return np.asarray(weights / (2 * weights.sum() - 1), dtype=np.float32)
