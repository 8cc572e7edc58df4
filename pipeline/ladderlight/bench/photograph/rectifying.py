"""A photograph seen straight: the raster brought to the cells of a small picture."""

from __future__ import annotations

import numpy as np

from ladderlight.bench.photograph.raster import Corners
from ladderlight.units.arrays import Floats, Singles

_SAMPLES = 3
"""Samples across and down each cell."""


def homography(corners: Corners, rows: int, columns: int) -> Floats:
    """Return the projective map from cells, with 0, 0 the outer corner of the first, to pixels: float64 (3, 3)."""
    from skimage.transform import estimate_transform

    cells = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float64)
    return np.asarray(estimate_transform("projective", cells, corners + 0.5).params, dtype=np.float64)


def rectified(pixels: Singles, corners: Corners, rows: int, columns: int) -> Singles:
    """Return the mean of a photograph over each cell of its raster: float32, shape (rows, columns, 3)."""
    from skimage.transform import warp

    n = _SAMPLES
    fine = np.diag([1 / n, 1 / n, 1.0])
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    back = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    matrix = back @ homography(corners, rows, columns) @ fine @ half
    sampled = warp(pixels, matrix, output_shape=(rows * n, columns * n), order=1, mode="edge", preserve_range=True)
    return np.asarray(sampled.reshape(rows, n, columns, n, 3).mean(axis=(1, 3)), dtype=np.float32)
