"""How different two pictures look from a given distance: S-CIELAB.

X. Zhang and B. A. Wandell, A spatial extension of CIELAB for digital color image reproduction, SID 1996, with the
filter parameters of their published reference code. Differences are CIEDE2000.

The method leaves two things open, and figures depend on both. Here each filter is integrated over the pixel, rather
than sampled at its middle, and the picture is reflected at its edges. One filter is 7 degrees wide, so it reaches
beyond the edges from a large part of the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import erf

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.comparison import Comparison
from ladderlight_stages.perception.cosines import filtered
from ladderlight_stages.perception.lab_loops import lab_from
from ladderlight_stages.perception.primaries import WHITE, XYZ_FROM_LINEAR

OPPONENT_FROM_XYZ = np.array(
    [
        [0.279, 0.72, -0.107],
        [-0.449, 0.29, -0.077],
        [0.086, -0.59, 0.501],
    ]
)
"""Luminance, red-green, blue-yellow."""
FILTERS = (
    ((1.00327, 0.05), (0.114416, 0.225), (-0.117686, 7.0)),
    ((0.616725, 0.0685), (0.383275, 0.826)),
    ((0.567885, 0.0920), (0.432115, 0.6451)),
)
"""For each opponent channel: Gaussians as (weight, full width at half maximum in degrees)."""

_OPPONENT_FROM_LINEAR = (OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR).astype(np.float32)
SHARES_FROM_OPPONENT = np.linalg.inv(OPPONENT_FROM_XYZ) / WHITE[:, None]
"""To XYZ as shares of white."""

FULL_WIDTH = float(2 * np.sqrt(2 * np.log(2)))
"""Of a Gaussian at half its maximum, in standard deviations."""
_REACH = 4.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Viewer(Comparison):
    """A viewer of a picture.

    ``density`` is the number of picture pixels in a degree of sight, across and down.
    """

    density: tuple[float, float]

    def lab(self, linear: NDArray[np.floating]) -> Floats:
        """Return CIELAB after the eye's blur, float64 (height, width, 3); see ``seen_lab``."""
        return seen_lab(linear, self.density)


def seen_lab(linear: NDArray[np.floating], density: tuple[float, float]) -> Floats:
    """Return a picture in CIELAB after the eye's blur.

    Parameters
    ----------
    linear
        (height, width, 3), linear light with sRGB primaries.
    density
        Pixels per degree across and down.

    Returns
    -------
    float64 (height, width, 3), D65 white.

    Notes
    -----
    Pixels are squares of even light, so each Gaussian is integrated over them exactly; the picture is mirrored beyond
    its edges, which makes the convolution a product of cosine transforms.
    """
    return np.asarray(lab_from(seen_opponent(linear, density), SHARES_FROM_OPPONENT))


def seen_opponent(linear: NDArray[np.floating], density: tuple[float, float]) -> Floats:
    """Return the opponent channels that are left after the eye's blur, float64 (height, width, 3); see ``seen_lab``."""
    height, width, _ = linear.shape
    channels = np.asarray(linear, dtype=np.float32) @ _OPPONENT_FROM_LINEAR.T
    opponent: Floats = np.empty((height, width, 3))
    for number in range(3):
        opponent[..., number] = filtered(channels[..., number], _transfer(number, height, width, density))
    return opponent


def kernel(width_degrees: float, density: float) -> Floats:
    """Return a Gaussian's weights by pixel, (2 n + 1,), of a full width at half maximum; their sum is 1."""
    sigma = width_degrees * density / FULL_WIDTH
    reach = int(np.ceil(_REACH * sigma + 0.5))
    edges = (np.arange(-reach, reach + 2) - 0.5) / (sigma * np.sqrt(2))
    weights = np.diff([erf(edge) for edge in edges]) / 2
    return np.asarray(weights / weights.sum())


def blur_within(gaussians: Sequence[tuple[float, float]], density: tuple[float, float], reach: int) -> Floats:
    """Return the sum of some Gaussians of ``FILTERS`` within ``reach`` pixels; (2 reach + 1, 2 reach + 1)."""
    blur = np.zeros((2 * reach + 1, 2 * reach + 1))
    for weight, degrees in gaussians:
        across, down = (_cut(kernel(degrees, pixels), reach) for pixels in density)
        blur += weight * down[:, None] * across
    return blur


def _cut(weights: Floats, reach: int) -> Floats:
    padded = np.pad(weights, max(reach - len(weights) // 2, 0))
    middle = len(padded) // 2
    return padded[middle - reach : middle + reach + 1]


def ciede_weights(lab: Floats) -> tuple[Floats, Floats]:
    """Return CIEDE2000's divisors of lightness and chroma differences, SL and SC, for (..., 3) of CIELAB."""
    middle = (lab[..., 0] - 50) ** 2
    bright: Floats = 1 + 0.015 * middle / np.sqrt(20 + middle)
    return bright, 1 + 0.045 * np.hypot(lab[..., 1], lab[..., 2])


@lru_cache(maxsize=32)
def _transfer(channel: int, height: int, width: int, density: tuple[float, float]) -> Singles:
    """Return the factor of a channel's filter for each cosine of a picture's size."""
    total = np.zeros((height, width))
    for weight, degrees in FILTERS[channel]:
        across, down = _response(kernel(degrees, density[0]), width), _response(kernel(degrees, density[1]), height)
        total += weight * down[:, None] * across
    return total.astype(np.float32)


def _response(weights: Floats, count: int) -> Floats:
    """Return the factors of symmetric weights for cosines of 0, 1, 2... half periods over ``count`` pixels."""
    reach = len(weights) // 2
    angles = np.pi * np.outer(np.arange(count), np.arange(1, reach + 1)) / count
    return np.asarray(weights[reach] + 2 * np.cos(angles) @ weights[reach + 1 :])
