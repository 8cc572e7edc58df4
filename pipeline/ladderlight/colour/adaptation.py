"""Adaptation of the eye, or of a profile, to another white."""

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats

_CONES = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""XYZ to the cones of the Bradford transform (Lam 1985; ICC.1:2022, annex E)."""


def adaptation(white: NDArray[np.floating], wanted: NDArray[np.floating]) -> Floats:
    """Return the matrix of XYZ, (3, 3), that turns one white into another and all colours accordingly."""
    matrix: Floats = np.linalg.inv(_CONES) @ np.diag(_CONES @ wanted / (_CONES @ white)) @ _CONES
    return matrix
