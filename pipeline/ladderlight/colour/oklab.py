"""The OKLab colour space, whose straight distance is close to the difference that people see.

B. Ottosson, A perceptual color space for image processing (2020), https://bottosson.github.io/posts/oklab/
"""

import numpy as np
from numpy.typing import NDArray

from ladderlight.colour.lightness import LUMINANCE, lightness_of
from ladderlight.units.arrays import Singles

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
