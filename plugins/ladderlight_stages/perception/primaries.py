"""Linear light of sRGB to XYZ, and the white of it."""

from __future__ import annotations

import numpy as np

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
