"""Luminance and lightness."""

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Shares of red, green and blue light in luminance (IEC 61966-2-1, ITU-R BT.709)."""
_JOINT, _SLOPE = 6 / 29, (29 / 3) ** 3


def lightness_of(luminance: NDArray[np.floating]) -> Floats:
    """Return CIE L*, 0 to 100, of a luminance relative to white (ISO/CIE 11664-4)."""
    root = np.cbrt(np.maximum(luminance, _JOINT**3))
    return np.where(luminance > _JOINT**3, 116 * root - 16, luminance * _SLOPE)


def luminance_of(lightness: NDArray[np.floating]) -> Floats:
    """Return the luminance, relative to white, of a CIE L*."""
    lightness = np.asarray(lightness, dtype=np.float64)
    return np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness / _SLOPE)
