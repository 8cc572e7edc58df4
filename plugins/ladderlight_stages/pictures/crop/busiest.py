"""The part of a picture with the most detail."""

from __future__ import annotations

import numpy as np
from skimage.filters.rank import entropy
from skimage.morphology import disk

from ladderlight.board import srgb_from_linear
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.luminance import luminance_of
from ladderlight_stages.resampling.resampling import resampled

_SIDE = 160  # of the small copy that is measured; more finds the same place, more slowly
_REACH = 4


def busiest_place(pixels: Singles, width: float, height: float) -> tuple[float, float]:
    """Find the place of a window over the part of a picture that has the most detail.

    Parameters
    ----------
    pixels
        float32, shape (height, width, 3), linear light.
    width, height
        The window's size in pixels, at most the picture's.

    Returns
    -------
    tuple of float
        The share of the spare width left of the window, and of the spare height above it; 0.5 where there is none to
        spare. Of equal places the most central.

    Notes
    -----
    Detail is the local entropy of lightness (``skimage.filters.rank.entropy``), on a small copy of the picture.
    """
    old_height, old_width = pixels.shape[:2]
    scale = min(1.0, _SIDE / max(old_width, old_height))
    small = resampled(pixels, max(1, round(old_width * scale)), max(1, round(old_height * scale)), "area")
    lightness = np.rint(srgb_from_linear(luminance_of(small)) * 255).astype(np.uint8)
    detail = entropy(lightness, disk(_REACH))
    return (
        _best_share(detail.sum(axis=0), width / old_width),
        _best_share(detail.sum(axis=1), height / old_height),
    )


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
