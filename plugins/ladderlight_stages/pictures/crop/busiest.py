"""The part of a picture that matters most: where it is busier than its surroundings."""

import numpy as np

from ladderlight.board import srgb_from_linear
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.luminance import luminance_of
from ladderlight_stages.resampling.resampling import resampled

_SIDE = 160
"""Pixels of the longer side of the small copy that is measured; more find the same place, more slowly."""
_NEAR, _FAR = 3, 28
"""Pixels to either side over which detail is averaged: at the place itself, and in its surroundings."""
_FAINT = 0.02
"""A step of lightness, in encoded values, of about the noise in a photograph."""
_LEAST = 0.01
"""What a place must stand out by to count at all."""
_UPWARDS = 0.5
"""How much more detail counts at the top than in the middle, and less at the foot: heads are in the upper half."""
_NOTHING = 1e-6
"""Pixels; rounding in the window's size."""
_HEADROOM = 0.04
"""Share of the window's height that is kept above its place."""


def busiest_place(pixels: Singles, width: float, height: float) -> tuple[float, float]:
    """Find the place of a window, no larger than the picture, over what is busier than its surroundings.

    Returns the share of the spare width left of the window, and of the spare height above it; 0.5 where there is none
    to spare. Of equal places the most central.

    Detail is the logarithm of the mean step of lightness around a place, less its mean over wide surroundings, so
    that grass and water count little: as the eye's receptive fields have a centre and a surround (Itti, Koch and
    Niebur, A model of saliency-based visual attention, IEEE Trans. PAMI 20 (1998) 1254-1259).
    """
    old_height, old_width = pixels.shape[:2]
    if max(old_width - width, old_height - height) < _NOTHING:
        return 0.5, 0.5
    scale = min(1.0, _SIDE / max(old_width, old_height))
    small = resampled(pixels, max(1, round(old_width * scale)), max(1, round(old_height * scale)), "area")
    detail = _detail(srgb_from_linear(luminance_of(small)))
    rows = detail.sum(axis=1)
    rows *= 1 + _UPWARDS * (1 - 2 * (np.arange(len(rows)) + 0.5) / len(rows))
    left, above = _best_share(detail.sum(axis=0), width / old_width), _best_share(rows, height / old_height)
    spare = old_height - height
    if spare > 0 and detail.any():
        above = max(0.0, above - _HEADROOM * height / spare)
    return left, above


def _detail(lightness: Floats) -> Floats:
    """Return how much busier each place is than its surroundings, 0 or more."""
    steps = np.hypot(*(np.diff(lightness, axis=axis, append=lightness.take([-1], axis)) for axis in (0, 1)))
    busy = np.log1p(_mean_around(_mean_around(steps, _NEAR), _NEAR) / _FAINT)
    return np.maximum(busy - _mean_around(_mean_around(busy, _FAR), _FAR) - _LEAST, 0.0)


def _mean_around(values: Floats, reach: int) -> Floats:
    """Return means over squares of ``2 * reach + 1`` places a side, of which those beyond the edges do not count."""
    for axis in (0, 1):
        values = _mean_along(values.T, reach).T if axis else _mean_along(values, reach)
    return values


def _mean_along(values: Floats, reach: int) -> Floats:
    """Return means over columns of ``2 * reach + 1`` places."""
    length, width = values.shape
    total = np.zeros((length + 1 + 2 * reach, width))  # the sum of what lies above each place, and beyond the edges
    np.cumsum(values, axis=0, out=total[reach + 1 : reach + 1 + length])
    total[reach + 1 + length :] = total[reach + length]
    place = np.arange(length)
    count = np.minimum(place + reach + 1, length) - np.maximum(place - reach, 0)
    means = total[2 * reach + 1 :] - total[:length]
    means /= count[:, np.newaxis]
    return means


def _best_share(detail: Floats, kept: float) -> float:
    """Return the share of a profile's spare length before the best place of a window."""
    length = max(1, round(len(detail) * kept))
    spare = len(detail) - length
    if spare == 0:
        return 0.5
    total = np.concatenate([[0.0], np.cumsum(detail)])
    inside = total[length:] - total[:-length]
    best = np.flatnonzero(inside >= inside.max() * (1 - 1e-9))
    central = float(best[np.argmin(np.abs(best - spare / 2))])
    return 0.5 if abs(central - spare / 2) <= 0.5 else central / spare
