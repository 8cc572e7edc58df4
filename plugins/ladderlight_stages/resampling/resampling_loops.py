"""Weighted sums of rows, compiled: as fast as a sparse matrix's product, without loading a library for it."""

import numpy as np

from ladderlight.units.arrays import Ints, Singles
from ladderlight_stages.compiled import compiled


@compiled
def summed_rows(rows: Singles, first: Ints, weights: Singles) -> Singles:  # pragma: no cover - compiled
    """Return, for each new row, the weighted sum of ``weights.shape[1]`` old ones from ``first``; (rows, samples)."""
    new, taps = weights.shape
    sums = np.zeros((new, rows.shape[1]), np.float32)
    for number in range(new):
        for tap in range(taps):
            weight, row = weights[number, tap], rows[first[number] + tap]
            for i in range(len(row)):  # the compiler takes many samples at a time
                sums[number, i] += weight * row[i]
    return sums
