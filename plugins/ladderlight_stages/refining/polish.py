"""The last step of the search for codes: it measures the colour difference itself, not a quadratic form near it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight import Palette
from ladderlight.colour.oklab import similarity_from_linear
from ladderlight.units.arrays import Codes, Floats, Singles
from ladderlight_stages.halftone.palette_tables import colour_places, unique_colours
from ladderlight_stages.perception.primaries import XYZ_FROM_LINEAR
from ladderlight_stages.perception.vision import FILTERS, OPPONENT_FROM_XYZ, blur_within, ciede_weights, seen_opponent
from ladderlight_stages.refining.polish_loops import ROOTS_PER_UNIT, differences, polish

_MOVES = 16
_PHASES = 4
_ROUNDS = 2
_NEAR = 15.0
"""Pixels per degree up to which the blur is followed to the next pixel only, otherwise to the one after it as well."""
_BRIGHTEST = 2.0

_WHITE = XYZ_FROM_LINEAR @ np.ones(3)
_TO_XYZ = (np.linalg.inv(OPPONENT_FROM_XYZ) / _WHITE[:, None]).astype(np.float32)


def polished_codes(pixels: Singles, palette: Palette, codes: Codes, density: tuple[float, float]) -> Codes:
    """Refine a picture's codes, uint16 (height, width); the other parameters are those of ``polished``."""
    linear, lowest = unique_colours(palette)
    refined: Codes = lowest[polished(pixels, linear, colour_places(palette)[codes], density)]
    return refined


def polished(
    pixels: Singles,
    linear: Floats,
    chosen: NDArray[np.int32],
    density: tuple[float, float],
) -> NDArray[np.int32]:
    """Refine a choice of colours.

    Parameters
    ----------
    pixels
        float32 (height, width, 3), linear light: the picture.
    linear
        float64 (colours, 3), linear light.
    chosen
        int32 (height, width): the index of each pixel's colour.
    density
        Pixels per degree across and down.

    Notes
    -----
    The eye's blur reaches further than the loop follows it, so what is seen is computed again after each quarter of the
    pixels.
    """
    roots = _lab_function(np.arange(_BRIGHTEST * ROOTS_PER_UNIT + 2) / ROOTS_PER_UNIT).astype(np.float32)
    wanted = _wanted(pixels, density)
    colours = (linear @ (OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR).T).astype(np.float32)
    moves = nearest_others(similarity_from_linear(linear), _MOVES)
    blur = _blur(density, 1 if max(density) < _NEAR else 2)
    refined = chosen.copy()
    for _ in range(_ROUNDS):
        for phase in range(_PHASES):
            seen = seen_opponent(linear[refined], density).astype(np.float32)
            costs = differences(seen, wanted, _TO_XYZ, roots)
            polish(refined, seen, costs, wanted, colours, moves, blur, _TO_XYZ, roots, phase, _PHASES)
    return refined


def nearest_others(points: Singles, most: int) -> NDArray[np.int32]:
    """Return, for each point, at most so many that are nearest to it, itself first; int32 (points, moves)."""
    nearest = np.empty((len(points), min(most, len(points))), dtype=np.int32)
    for index, point in enumerate(points):
        gaps = ((points - point) ** 2).sum(axis=1)
        nearest[index] = np.argsort(gaps, kind="stable")[: nearest.shape[1]]
    return nearest


def _wanted(pixels: Singles, density: tuple[float, float]) -> Singles:
    """Return CIELAB as seen, and the weights of lightness and of chroma squared; float32 (height, width, 5)."""
    x, y, z = np.moveaxis(_lab_function(seen_opponent(pixels, density) @ _TO_XYZ.T.astype(np.float64)), -1, 0)
    lab = np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)
    bright, dull = ciede_weights(lab)
    return np.concatenate([lab, 1 / bright[..., None], 1 / dull[..., None] ** 2], axis=-1).astype(np.float32)


def _lab_function(share: NDArray[np.floating]) -> Floats:
    """Return CIELAB's function of XYZ over white (CIE 15)."""
    return np.where(share > 216 / 24389, np.cbrt(np.maximum(share, 0)), (24389 / 27 * share + 16) / 116)


def _blur(density: tuple[float, float], reach: int) -> Singles:
    """Return what the middle pixel adds to what is seen around it, in each channel."""
    return np.stack([blur_within(gaussians, density, reach) for gaussians in FILTERS], axis=-1).astype(np.float32)
