"""Table look-up of samples, compiled: many times faster than an array's ``take``."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Singles
from ladderlight_stages.compiled import compiled


@compiled
def looked_up(samples: NDArray[Any], table: Singles) -> Singles:  # pragma: no cover - compiled
    """Return ``table[samples]``; samples uint8 or uint16, C order, all within the table."""
    light = np.empty(samples.shape, np.float32)
    flat, found = samples.reshape(-1), light.reshape(-1)
    for i in range(flat.size):
        found[i] = table[flat[i]]
    return light
