"""Corners to a fraction of a cell, by what the screen should show."""

from __future__ import annotations

import numpy as np

from ladderlight.bench.photograph.fitting import blurred, fit, prepared
from ladderlight.bench.photograph.raster import Corners
from ladderlight.bench.photograph.rectifying import homography, rectified
from ladderlight.units.arrays import Floats, Singles

_EVEN = 0.01
"""Spread of a picture's light that does not show where its corners are."""
_LEVELS = ((3.0, 4), (1.2, 3), (0.6, 3))
"""Blur in cells, coarse to fine, and steps at each."""


def aligned(
    pixels: Singles, corners: Corners, light: Singles, levels: tuple[tuple[float, int], ...] = _LEVELS
) -> Corners:
    """Move a raster's corners until a picture fits the photograph best.

    Gauss and Newton's method on the eight coordinates (B. D. Lucas and T. Kanade 1981), with the colours fitted anew
    at each step. ``light`` is the picture, linear, float32 (rows, columns, 3).
    """
    rows, columns = light.shape[:2]
    if light.std(axis=(0, 1)).max() < _EVEN:
        return corners
    fields = _fields(rows, columns)
    for sigma, steps in levels:
        target = blurred(light, sigma)
        logs = prepared(target[None])
        for _ in range(steps):
            seen = blurred(rectified(pixels, corners, rows, columns), sigma)
            found = fit(logs, seen)
            left = found.predicted(0, target) - seen
            down, across = (np.asarray(np.gradient(seen, axis=axis)) for axis in (0, 1))
            slopes = (across[..., None] * fields[:, :, None, 0] + down[..., None] * fields[:, :, None, 1])[2:-2, 2:-2]
            matrix = slopes.reshape(-1, 8).astype(np.float64)
            held = matrix.T @ matrix
            held[np.diag_indices(8)] *= 1.01
            step = np.linalg.lstsq(held, matrix.T @ left[2:-2, 2:-2].reshape(-1), rcond=None)[0].reshape(4, 2)
            most = max(1.0, sigma)
            step = np.clip(step, -most, most)
            corners = _moved(corners, step, rows, columns)
            if np.abs(step).max() < 0.02:
                break
    return corners


def _moved(corners: Corners, step: Floats, rows: int, columns: int) -> Corners:
    """Return the corners after those of the cells have moved by so many cells."""
    ends = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float64) + step
    mapped = np.column_stack([ends, np.ones(4)]) @ homography(corners, rows, columns).T
    return mapped[:, :2] / mapped[:, 2:] - 0.5


def _fields(rows: int, columns: int) -> Floats:
    """Return how cells move with each coordinate of the corners: float64 (rows, columns, 2, 8), x before y."""
    y, x = np.indices((rows, columns)) + 0.5
    cells = np.stack([x, y, np.ones_like(x)], axis=-1)
    ends = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float64)
    fields = np.empty((rows, columns, 2, 8))
    for place in range(8):
        moved = ends.copy()
        moved[place // 2, place % 2] += 0.1
        mapped = cells @ homography(moved - 0.5, rows, columns).T
        fields[..., place] = (mapped[..., :2] / mapped[..., 2:] - cells[..., :2]) / 0.1
    return fields
