"""Luminance and the primaries that it is of, and from where on light counts as beyond what a board can show."""

from functools import cache

import numpy as np

from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight.colour import spaces
from ladderlight.units.arrays import Floats, Singles

XYZ_FROM_LINEAR = np.array(
    [
        [0.4124, 0.3576, 0.1805],
        [0.2126, 0.7152, 0.0722],
        [0.0193, 0.1192, 0.9505],
    ]
)
"""IEC 61966-2-1."""
WHITE = np.array([0.95047, 1.0, 1.08883])
"""XYZ of D65 for the 2-degree observer (ASTM E308)."""
SHARES_FROM_LINEAR = XYZ_FROM_LINEAR / WHITE[:, None]
"""Linear light to XYZ as shares of white."""


LUMINANCE: Singles = spaces.LUMINANCE.astype(np.float32)
"""Shares of red, green and blue light in luminance, single precision like pixels."""
BEYOND = 1e-3
"""Light that is allowed anywhere; more than rounding to 8 bits adds in the dark."""
_HALF_STEP = 0.5 / 255 + 1e-6
"""In sRGB values, 0 to 1. A file holds the nearest of 256, up to so far from a board's own colours."""
_FINENESS = 1024


def luminance_of(pixels: Singles) -> Singles:
    """Return the luminance of float32 pixels, shape (height, width, 3), as shape (height, width)."""
    return pixels @ LUMINANCE


def relit(pixels: Singles, luminance: Singles) -> Singles:
    """Return a picture, float32 (height, width, 3) of linear light, with another luminance and the same colours.

    All are 0 to 1. Colours that cannot be so light become paler; black becomes grey.
    """
    old = luminance_of(pixels)
    gain = np.divide(luminance, old, out=np.zeros_like(old), where=old > 0)
    chroma = pixels * gain[..., np.newaxis] - luminance[..., np.newaxis]
    chroma[old <= 0] = 0
    return coloured(luminance, chroma)


def coloured(luminance: Singles, chroma: Singles) -> Singles:
    """Return grey with as much colour added as keeps every channel in 0 to 1. Luminance and hue stay.

    ``chroma``, float32 (height, width, 3), is pixels less their ``luminance``, (height, width).
    """
    grey = luminance[..., np.newaxis]
    room = np.where(chroma > 0, 1 - grey, grey)
    size = np.abs(chroma)
    share = np.divide(room, size, out=np.ones_like(size), where=size > room).min(axis=-1, keepdims=True)
    mixed: Singles = grey + share * chroma
    return np.clip(mixed, 0, 1)


def tolerated(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return the light at which clipping begins, below the levels ``low`` and above the levels ``high``."""
    below = linear_from_srgb(srgb_from_linear(low) - _HALF_STEP)
    above = linear_from_srgb(srgb_from_linear(high) + _HALF_STEP)
    return np.minimum(below, low - BEYOND), np.maximum(above, high + BEYOND)


@cache
def half_steps() -> Singles:
    """Return the most that rounding adds to light, from no light to full light in even steps: float32 (n,)."""
    light = np.arange(_FINENESS + 1) / _FINENESS
    return (linear_from_srgb(srgb_from_linear(light) + _HALF_STEP) - light).astype(np.float32)
