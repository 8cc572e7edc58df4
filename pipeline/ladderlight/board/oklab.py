"""The OKLab colour space: straight distance in it is close to what people see.

B. Ottosson, A perceptual color space for image processing (2020), https://bottosson.github.io/posts/oklab/
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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

# the toe that brings OKLab's lightness to where CIELAB puts it: B. Ottosson, Okhsv and Okhsl (2021)
_TOE_1, _TOE_2 = 0.206, 0.03
_TOE_3 = (1 + _TOE_1) / (1 + _TOE_2)


def likeness_from_linear(linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Convert to OKLab with its author's later lightness, in which dark and light are further apart, as in CIELAB.

    Straight distance in it says how alike two colours look side by side. Arguments as for ``oklab_from_linear``.
    """
    lab = oklab_from_linear(linear)
    bent = _TOE_3 * lab[..., 0] - _TOE_1
    lab[..., 0] = (bent + np.sqrt(bent**2 + 4 * _TOE_2 * _TOE_3 * lab[..., 0])) / 2
    return lab


def oklab_from_linear(linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Convert linear light with sRGB primaries, (..., 3), 0 to 1, to OKLab: L 0 to 1, a and b about -0.4 to 0.4."""
    cones = np.cbrt(np.asarray(linear, dtype=np.float32) @ _CONES.T.astype(np.float32))
    return np.asarray(cones @ _LAB.T.astype(np.float32), dtype=np.float32)
