"""Luminance, lightness, adaptation to another white, and OKLab."""

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats, Singles

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Shares of red, green and blue light in luminance (IEC 61966-2-1, ITU-R BT.709)."""
_JOINT, _SLOPE = 6 / 29, (29 / 3) ** 3
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""XYZ to the cones of the Bradford transform (Lam 1985; ICC.1:2022, annex E)."""
# B. Ottosson, A perceptual color space for image processing (2020), https://bottosson.github.io/posts/oklab/
_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def lightness_of(luminance: NDArray[np.floating]) -> Floats:
    """Return CIE L*, 0 to 100, of a luminance relative to white (ISO/CIE 11664-4)."""
    root = np.cbrt(np.maximum(luminance, _JOINT**3))
    return np.where(luminance > _JOINT**3, 116 * root - 16, luminance * _SLOPE)


def luminance_of(lightness: NDArray[np.floating]) -> Floats:
    """Return the luminance, relative to white, of a CIE L*."""
    lightness = np.asarray(lightness, dtype=np.float64)
    return np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness / _SLOPE)


def adaptation(white: NDArray[np.floating], wanted: NDArray[np.floating]) -> Floats:
    """Return the matrix of XYZ, (3, 3), that turns one white into another and all colours accordingly."""
    matrix: Floats = np.linalg.inv(_BRADFORD) @ np.diag(_BRADFORD @ wanted / (_BRADFORD @ white)) @ _BRADFORD
    return matrix


def similarity_from_linear(linear: NDArray[np.floating]) -> Singles:
    """Convert to OKLab's two axes of colour with CIELAB's lightness, in which darks are further apart.

    Straight distance in this space predicts the similarity of two colours side by side: photographs reduced by it
    without dithering show less visible error than by either space alone. Arguments as for ``oklab_from_linear``.
    """
    lab = oklab_from_linear(linear)
    lab[..., 0] = lightness_of(np.asarray(linear) @ LUMINANCE) / 100
    return lab


def oklab_from_linear(linear: NDArray[np.floating]) -> Singles:
    """Convert linear light with sRGB primaries, (..., 3), 0 to 1, to OKLab: L 0 to 1, a and b about -0.4 to 0.4."""
    cones = np.cbrt(np.asarray(linear, dtype=np.float32) @ _CONES.T.astype(np.float32))
    return np.asarray(cones @ _LAB.T.astype(np.float32), dtype=np.float32)
