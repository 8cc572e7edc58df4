"""The tolerance for light beyond what a board can show before it counts as clipped: that of rounding."""

from __future__ import annotations

import numpy as np

from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight.units.arrays import Floats, Singles

BEYOND = 1e-3
"""Light that is allowed anywhere; more than rounding to 8 bits adds in the dark."""
_HALF_STEP = 0.5 / 255 + 1e-6
"""In sRGB values, 0 to 1. A file holds the nearest of 256, up to so far from a board's own colours."""
_FINENESS = 1024


def tolerated(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return the light at which clipping begins, below the levels ``low`` and above the levels ``high``."""
    below = linear_from_srgb(srgb_from_linear(low) - _HALF_STEP)
    above = linear_from_srgb(srgb_from_linear(high) + _HALF_STEP)
    return np.minimum(below, low - BEYOND), np.maximum(above, high + BEYOND)


def half_steps() -> Singles:
    """Return the most that rounding adds to light, from no light to full light in even steps: float32 (n,)."""
    light = np.arange(_FINENESS + 1) / _FINENESS
    return (linear_from_srgb(srgb_from_linear(light) + _HALF_STEP) - light).astype(np.float32)
