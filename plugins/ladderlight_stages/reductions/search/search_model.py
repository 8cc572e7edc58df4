"""The measure of the search for codes: how visible an error is, as a quadratic form that the loop keeps up to date."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.lab_loops import lab_from
from ladderlight_stages.perception.primaries import XYZ_FROM_LINEAR
from ladderlight_stages.perception.vision import (
    FILTERS,
    FULL_WIDTH,
    OPPONENT_FROM_XYZ,
    SHARES_FROM_OPPONENT,
    blur_within,
    ciede_weights,
    seen_opponent,
)
from ladderlight_stages.refining.polish import nearest_others

_REACH = 10
"""Pixels to which a blur is followed; Gaussians of the eye's that reach further are left to the coarse scales."""
_WITHIN = 2.5
"""Standard deviations of a Gaussian that must lie within them."""
_SCALES = {1.0: 0.25, 2.0: 1.0, 4.0: 1.0}
"""The pyramid: standard deviations in pixels, for full, half and quarter resolution, and how much each counts."""
_MOVES = 64
_TANGENT = 0.01

# S-CIELAB's opponent channels are not balanced: a grey has red-green in it. Here grey has none, so that an error in
# lightness is an error of the first channel alone, and channels are weighted one by one.
_WHITE = OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR @ np.ones(3)
_BALANCE = np.array([[1, 0, 0], [-_WHITE[1] / _WHITE[0], 1, 0], [-_WHITE[2] / _WHITE[0], 0, 1]])
_FROM_BALANCED = np.linalg.inv(_BALANCE)
_BALANCED_FROM_LINEAR = _BALANCE @ OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR


@dataclass(frozen=True, kw_only=True, eq=False)
class SearchModel:
    """A picture, float32 (height, width, 3) of linear light, the colours there are, and the viewer's density.

    ``coarse`` is the weight of errors at the pyramid's scales, which are those of areas, beside the error seen.
    """

    pixels: Singles
    linear: Floats
    density: tuple[float, float]
    coarse: float = 0.0

    @cached_property
    def colours(self) -> Singles:
        """The colours in balanced opponent channels, float32 (colours, 3)."""
        return np.asarray(self.linear @ _BALANCED_FROM_LINEAR.T, dtype=np.float32)

    @cached_property
    def spread(self) -> Singles:
        """The autocorrelations of each channel's blurs, float32 (4 reach + 1, 4 reach + 1, 3)."""
        areas = sum(weight * _autocorrelation(_gaussian(sigma)) for sigma, weight in _SCALES.items())
        seen = [_autocorrelation(_eye(channel, self.density)) for channel in range(3)]
        return np.stack([channel + self.coarse * areas for channel in seen], axis=-1).astype(np.float32)

    @cached_property
    def weights(self) -> Singles:
        """The change of CIELAB, as seen, with each channel at each pixel, small errors; float32 (height, width, 3)."""
        seen = seen_opponent(self.pixels, self.density)
        lab = _lab(seen)
        bright, dull = ciede_weights(lab)
        weights = np.empty(lab.shape)
        for channel in range(3):
            change = (_lab(seen + _TANGENT * _FROM_BALANCED[:, channel]) - lab) / _TANGENT
            chroma = (change[..., 1] ** 2 + change[..., 2] ** 2) / dull**2
            weights[..., channel] = np.sqrt((change[..., 0] / bright) ** 2 + chroma)
        return (weights / 100).astype(np.float32)

    def pull(self, chosen: NDArray[np.int32]) -> Singles:
        """Return the weighted error convolved with ``spread``, float32 (height, width, 3)."""
        from scipy.signal import fftconvolve  # slow to import

        error = (self.colours[chosen] - self.pixels @ _BALANCED_FROM_LINEAR.T.astype(np.float32)) * self.weights
        pulls = [fftconvolve(error[..., c], self.spread[..., c], mode="same") for c in range(3)]
        return np.stack(pulls, axis=-1).astype(np.float32)

    @cached_property
    def moves(self) -> NDArray[np.int32]:
        """For each colour the nearest others and itself, int32 (colours, moves)."""
        return nearest_others(self.colours * self.weights.mean(axis=(0, 1)), _MOVES)


def _lab(opponent: Floats) -> Floats:
    # the blur takes away some of the surroundings, so that XYZ may be below zero: CIELAB's straight line goes on there
    return np.asarray(lab_from(opponent, SHARES_FROM_OPPONENT))


def _eye(channel: int, density: tuple[float, float]) -> Floats:
    """Return what is seen of a pixel around it, without the widest Gaussians; (2 reach + 1, 2 reach + 1)."""
    # one of them is negative, and takes away what is even all over the picture
    widest = _REACH / _WITHIN / max(density) * FULL_WIDTH
    narrowest, *others = FILTERS[channel]
    return blur_within([narrowest, *(other for other in others if other[1] <= widest)], density, _REACH)


def _gaussian(sigma: float) -> Floats:
    weights = np.exp(-0.5 * (np.arange(-_REACH, _REACH + 1) / sigma) ** 2)
    weights /= weights.sum()
    return np.asarray(weights[:, None] * weights)


def _autocorrelation(blur: Floats) -> Floats:
    from scipy.signal import fftconvolve  # slow to import

    return np.asarray(fftconvolve(blur, blur[::-1, ::-1]))
