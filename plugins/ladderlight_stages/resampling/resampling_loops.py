"""Weighted sums of rows, compiled: as fast as a sparse matrix's product, without loading a library for it."""

import numpy as np

from ladderlight.units.arrays import Ints, Singles
from ladderlight_stages.compiled import compiled

_TOGETHER = 4  # rows that are added in one pass; the last few of a sum are added one by one


@compiled
def summed_rows(pixels: Singles, first: Ints, weights: Singles) -> Singles:  # pragma: no cover - compiled
    """Return new rows, each the weighted sum of ``weights.shape[1]`` old ones from ``first``, as columns.

    ``pixels`` (height, width, 3) become (width, new rows, 3): done twice, a picture stands as before.
    """
    new, taps = weights.shape
    height, width, _ = pixels.shape
    rows, turned = pixels.reshape(height, 3 * width), np.empty((width, new, 3), np.float32)
    sums = np.empty(3 * width, np.float32)
    for number in range(new):
        sums[:] = 0
        for tap in range(0, taps - taps % _TOGETHER, _TOGETHER):
            at, w = first[number] + tap, weights[number, tap : tap + _TOGETHER]
            a, b, c, d = rows[at], rows[at + 1], rows[at + 2], rows[at + 3]
            for i in range(3 * width):  # the compiler takes many samples at a time
                sums[i] = sums[i] + w[0] * a[i] + w[1] * b[i] + w[2] * c[i] + w[3] * d[i]
        for tap in range(taps - taps % _TOGETHER, taps):
            weight, row = weights[number, tap], rows[first[number] + tap]
            for i in range(3 * width):
                sums[i] += weight * row[i]
        for x in range(width):
            for gun in range(3):
                turned[x, number, gun] = sums[3 * x + gun]
    return turned
