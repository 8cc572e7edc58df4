"""Counting over a picture and its codes in one pass, so that it costs little beside the reduction itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight_stages.compiled import compiled


@compiled
def tally(
    pixels: NDArray[np.float32],
    codes: NDArray[np.uint16],
    low: NDArray[np.float32],
    high: NDArray[np.float32],
    used: NDArray[np.bool_],
) -> int:  # pragma: no cover - compiled
    """Mark the codes that are used, and count the pixels with a gun below ``low`` or above ``high``, both (3,)."""
    height, width = codes.shape
    rows = pixels.reshape(height, 3 * width)
    lowest, highest = np.empty(3 * width, np.float32), np.empty(3 * width, np.float32)
    for x in range(width):
        lowest[3 * x : 3 * x + 3], highest[3 * x : 3 * x + 3] = low, high
    out = np.empty(3 * width, np.uint8)
    beyond = 0
    for y in range(height):
        light, code = rows[y], codes[y]
        for i in range(3 * width):  # a loop of its own: the compiler takes many samples at a time
            out[i] = (light[i] < lowest[i]) | (light[i] > highest[i])
        for x in range(width):
            beyond += out[3 * x] | out[3 * x + 1] | out[3 * x + 2]
        for x in range(width):
            used[code[x]] = True
    return beyond
