"""Counting over a picture and its codes, so that it costs little beside the reduction itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight_stages.compiled import compiled

BEYOND = 1e-3
"""Light less than this beyond a gun's levels is not clipped: rounding alone may bring it there."""


@compiled
def mark_used(codes: NDArray[np.uint16], used: NDArray[np.bool_]) -> None:  # pragma: no cover - compiled
    """Mark the codes that are used."""
    for code in codes.reshape(-1):
        used[code] = True


@compiled
def count_beyond(
    pixels: NDArray[np.float32], low: NDArray[np.float32], high: NDArray[np.float32]
) -> int:  # pragma: no cover - compiled
    """Count the pixels with a gun below ``low`` or above ``high``, both (3,)."""
    height, width, _ = pixels.shape
    rows = pixels.reshape(height, 3 * width)
    lowest, highest = np.empty(3 * width, np.float32), np.empty(3 * width, np.float32)
    for x in range(width):
        lowest[3 * x : 3 * x + 3], highest[3 * x : 3 * x + 3] = low, high
    out = np.empty(3 * width, np.uint8)
    beyond = 0
    for y in range(height):
        light = rows[y]
        for i in range(3 * width):  # a loop of its own: the compiler takes many samples at a time
            out[i] = (light[i] < lowest[i]) | (light[i] > highest[i])
        beyond += count_pixels(out)
    return beyond


@compiled
def count_pixels(out: NDArray[np.uint8]) -> int:  # pragma: no cover - compiled
    """Count the pixels of which any of three samples is 1; uint8 (3 * width,)."""
    count = 0
    for x in range(len(out) // 3):
        count += out[3 * x] | out[3 * x + 1] | out[3 * x + 2]
    return count
