"""Counting over a picture and its codes in one pass, so that it costs little beside the reduction itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight_stages.reductions.compiled import compiled


@compiled
def tally(
    pixels: NDArray[np.float32],
    codes: NDArray[np.uint16],
    low: NDArray[np.float32],
    high: NDArray[np.float32],
    used: NDArray[np.bool_],
) -> int:  # pragma: no cover - compiled
    """Mark the codes that are used, and count the pixels with a gun below ``low`` or above ``high``, both (3,)."""
    light, code = pixels.reshape(-1), codes.reshape(-1)
    low0, low1, low2 = low[0], low[1], low[2]
    high0, high1, high2 = high[0], high[1], high[2]
    beyond = 0
    for i in range(code.size):  # a loop of its own: the compiler takes several pixels at a time
        red, green, blue = light[3 * i], light[3 * i + 1], light[3 * i + 2]
        out = (red < low0) | (red > high0) | (green < low1) | (green > high1) | (blue < low2) | (blue > high2)
        beyond += out
    for i in range(code.size):
        used[code[i]] = True
    return beyond
