"""What annealing minimises: the difference seen, and errors of areas at several scales."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.lab_loops import lab_from
from ladderlight_stages.perception.luminance import XYZ_FROM_LINEAR
from ladderlight_stages.perception.vision import (
    FILTERS,
    OPPONENT_FROM_XYZ,
    SHARES_FROM_OPPONENT,
    blur_within,
    ciede_weights,
    seen_opponent,
)

_REACH = 10  # pixels to which the blurs of areas are followed
_SCALES = {1.0: 0.1, 2.0: 1.0, 4.0: 0.25}
"""Standard deviations in pixels, for full, half and quarter resolution, and how much each counts."""
_USUAL, _FROM_AFAR = 1e4, 8e5
"""Weights of areas, found by experiment: near the screen, and at most from afar, over the squared density."""
_FAR = (15.0, 30.0)
"""Pixels per degree from which the eye's blur is followed to a second pixel, and to a third, beside the next one."""
_TANGENT = 0.01

# S-CIELAB's opponent channels are not balanced: a grey has red-green in it. Here grey has none, so that an error in
# lightness is an error of the first channel alone, and channels are weighted one by one.
_WHITE = OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR @ np.ones(3)
_BALANCE = np.array([[1, 0, 0], [-_WHITE[1] / _WHITE[0], 1, 0], [-_WHITE[2] / _WHITE[0], 0, 1]])
_FROM_BALANCED = np.linalg.inv(_BALANCE)
_BALANCED_FROM_LINEAR = _BALANCE @ OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR
TO_XYZ: Singles = SHARES_FROM_OPPONENT.astype(np.float32)
"""From opponent channels to XYZ as shares of white."""


class VisibleError(Frozen, eq=False):
    """A picture, float32 (height, width, 3) of linear light, the colours there are, and the viewer's density.

    ``aspect`` is a pixel's width over its height. ``areas`` multiplies the weight of the errors of
    areas, of all or of each pixel: float32 (height, width).
    """

    pixels: Singles
    linear: Floats
    density: tuple[float, float]
    aspect: float = 1.0
    areas: float | Singles = 1.0

    @cached_property
    def colours(self) -> Singles:
        """The colours in opponent channels, float32 (colours, 3)."""
        return np.asarray(self.linear @ (OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR).T, dtype=np.float32)

    @cached_property
    def balanced(self) -> Singles:
        """The colours in balanced opponent channels, float32 (colours, 3)."""
        return np.asarray(self.linear @ _BALANCED_FROM_LINEAR.T, dtype=np.float32)

    @cached_property
    def blur(self) -> Singles:
        """What the middle pixel adds to what is seen around it, float32 (2 reach + 1, 2 reach + 1, 3)."""
        reach = 1 + sum(max(self.density) >= far for far in _FAR)
        return np.stack([blur_within(g, self.density, reach) for g in FILTERS], axis=-1).astype(np.float32)

    @cached_property
    def spread(self) -> Singles:
        """How errors of two pixels count together in areas, float32 (4 reach + 1, 4 reach + 1)."""
        from scipy.signal import fftconvolve  # slow to import

        weight = min(_USUAL, _FROM_AFAR / max(self.density) ** 2)
        total = np.zeros((4 * _REACH + 1, 4 * _REACH + 1))
        for sigma, share in _SCALES.items():
            across, down = _gaussian(sigma / max(self.aspect, 1.0)), _gaussian(sigma * min(self.aspect, 1.0))
            blur = down[:, None] * across
            total += weight * share * fftconvolve(blur, blur)
        return total.astype(np.float32)

    @cached_property
    def wanted(self) -> Singles:
        """CIELAB as seen, and the weights of lightness and of chroma squared; float32 (height, width, 5)."""
        lab = _lab(self._seen)
        bright, dull = ciede_weights(lab)
        return np.concatenate([lab, 1 / bright[..., None], 1 / dull[..., None] ** 2], axis=-1).astype(np.float32)

    @cached_property
    def weights(self) -> Singles:
        """The change of CIELAB, as seen, with each channel at each pixel, small errors; float32 (height, width, 3)."""
        lab = _lab(self._seen)
        bright, dull = ciede_weights(lab)
        weights = np.empty(lab.shape)
        for channel in range(3):
            change = (_lab(self._seen + _TANGENT * _FROM_BALANCED[:, channel]) - lab) / _TANGENT
            chroma = (change[..., 1] ** 2 + change[..., 2] ** 2) / dull**2
            weights[..., channel] = np.sqrt((change[..., 0] / bright) ** 2 + chroma)
        return (weights / 100 * np.sqrt(self.areas)[..., None]).astype(np.float32)

    def pull(self, chosen: NDArray[np.int32]) -> Singles:
        """Return the weighted error of areas convolved with ``spread``, float32 (3, height, width)."""
        from scipy.signal import fftconvolve  # slow to import

        error = (self.balanced[chosen] - self.pixels @ _BALANCED_FROM_LINEAR.T.astype(np.float32)) * self.weights
        pulls = [fftconvolve(error[..., c], self.spread, mode="same") for c in range(3)]
        return np.stack(pulls).astype(np.float32)

    def seen(self, chosen: NDArray[np.int32]) -> Singles:
        """Return what is seen, float32 (height, width, 3), in opponent channels."""
        return seen_opponent(self.linear[chosen], self.density).astype(np.float32)

    def mean(self, chosen: NDArray[np.int32]) -> float:
        """Return the mean difference that is seen, in CIELAB with CIEDE2000's weights."""
        gap = _lab(self.seen(chosen)) - self.wanted[..., :3]
        bright, dull = self.wanted[..., 3], self.wanted[..., 4]
        return float(np.sqrt((gap[..., 0] * bright) ** 2 + (gap[..., 1] ** 2 + gap[..., 2] ** 2) * dull).mean())

    @cached_property
    def _seen(self) -> Floats:
        return seen_opponent(self.pixels, self.density)


def _lab(opponent: NDArray[np.floating]) -> Floats:
    # the blur takes away some of the surroundings, so that XYZ may be below zero: CIELAB's straight line goes on there
    return np.asarray(lab_from(opponent, SHARES_FROM_OPPONENT.astype(opponent.dtype)))


def _gaussian(sigma: float) -> Floats:
    weights = np.exp(-0.5 * (np.arange(-_REACH, _REACH + 1) / sigma) ** 2)
    return np.asarray(weights / weights.sum())
