"""The last step of the search for codes: by the colour difference itself, not by a quadratic form near it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight import Palette
from ladderlight.colour.oklab import likeness_from_linear
from ladderlight.units.arrays import Codes, Floats, Singles
from ladderlight_stages.halftone.palette_tables import colour_places, distinct_colours
from ladderlight_stages.perception.vision import FILTERS, OPPONENT_FROM_XYZ, XYZ_FROM_LINEAR, kernel, seen_opponent
from ladderlight_stages.reductions.search.search_model import ciede_weights
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
    """Better a picture's codes, uint16 (height, width); the other parameters are those of ``polished``."""
    linear, lowest = distinct_colours(palette)
    better: Codes = lowest[polished(pixels, linear, colour_places(palette)[codes], density)]
    return better


def polished(
    pixels: Singles,
    linear: Floats,
    chosen: NDArray[np.int32],
    density: tuple[float, float],
) -> NDArray[np.int32]:
    """Better a choice of colours.

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
    The eye's blur reaches further than the loop follows it. So only one pixel in four is looked at before what is seen
    is worked out anew.
    """
    roots = _lab_function(np.arange(_BRIGHTEST * ROOTS_PER_UNIT + 2) / ROOTS_PER_UNIT).astype(np.float32)
    wanted = _wanted(pixels, density)
    colours = (linear @ (OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR).T).astype(np.float32)
    moves = _moves(likeness_from_linear(linear))
    blur = _blur(density, 1 if max(density) < _NEAR else 2)
    better = chosen.copy()
    for _ in range(_ROUNDS):
        for phase in range(_PHASES):
            seen = seen_opponent(linear[better], density).astype(np.float32)
            costs = differences(seen, wanted, _TO_XYZ, roots)
            polish(better, seen, costs, wanted, colours, moves, blur, _TO_XYZ, roots, phase, _PHASES)
    return better


def _moves(points: Singles) -> NDArray[np.int32]:
    """Give for each colour those most like it, int32 (colours, moves)."""
    moves = np.empty((len(points), min(_MOVES, len(points))), dtype=np.int32)
    for index, point in enumerate(points):
        gaps = ((points - point) ** 2).sum(axis=1)
        moves[index] = np.argsort(gaps, kind="stable")[: moves.shape[1]]
    return moves


def _wanted(pixels: Singles, density: tuple[float, float]) -> Singles:
    """Give CIELAB as seen, and how much lightness and, squared, chroma count; float32 (height, width, 5)."""
    x, y, z = np.moveaxis(_lab_function(seen_opponent(pixels, density) @ _TO_XYZ.T.astype(np.float64)), -1, 0)
    lab = np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)
    bright, dull = ciede_weights(lab)
    return np.concatenate([lab, 1 / bright[..., None], 1 / dull[..., None] ** 2], axis=-1).astype(np.float32)


def _lab_function(share: NDArray[np.floating]) -> Floats:
    """Give CIELAB's function of XYZ over white (CIE 15)."""
    return np.where(share > 216 / 24389, np.cbrt(np.maximum(share, 0)), (24389 / 27 * share + 16) / 116)


def _blur(density: tuple[float, float], reach: int) -> Singles:
    """Give what the middle pixel adds to what is seen around it, in each channel."""
    blur = np.zeros((2 * reach + 1, 2 * reach + 1, 3))
    for channel, gaussians in enumerate(FILTERS):
        for weight, degrees in gaussians:
            across, down = (_cut(kernel(degrees, pixels), reach) for pixels in density)
            blur[..., channel] += weight * down[:, None] * across
    return blur.astype(np.float32)


def _cut(weights: Floats, reach: int) -> Floats:
    middle = len(weights) // 2
    padded = np.pad(weights, max(reach - middle, 0))
    middle = len(padded) // 2
    return padded[middle - reach : middle + reach + 1]
