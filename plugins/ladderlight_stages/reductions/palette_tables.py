"""Tables for the loop that reduces to any set of colours."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ladderlight import Palette
from ladderlight_stages.reductions.grid import Grid, make_grid

_OPPONENT = np.array(
    [
        [0.2126, 0.7152, 0.0722],
        [0.5, -0.5, 0.0],
        [-0.25, -0.25, 0.5],
    ]
)
"""Luminance, red against green, blue against yellow, in linear light."""
_WEIGHTS = np.array([1.0, 0.5, 0.35])
"""How much each counts when the nearest colour is chosen; found by trial on photographs with S-CIELAB."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PaletteTables:
    """What ``diffuse_palette`` needs of a board.

    ``transform`` float32 (3, 3) takes linear light to the space of ``colours``. ``bounds`` float32 (2, 3).
    """

    transform: NDArray[np.float32]
    colours: NDArray[np.float32]
    codes: NDArray[np.uint16]
    bounds: NDArray[np.float32]
    grid: Grid

    def fit(self, pixels: NDArray[np.float32]) -> NDArray[np.float32]:
        """Give the pixels in the space of the colours."""
        return pixels @ self.transform.T


def distinct_colours(palette: Palette) -> tuple[NDArray[np.float64], NDArray[np.uint16]]:
    """Give the colours of a board in linear light, each once, with the lowest code of each, by code."""
    _, first = np.unique(palette.linear, axis=0, return_index=True)
    first = np.sort(first)
    return palette.linear[first], first.astype(np.uint16)


@lru_cache(maxsize=8)
def palette_tables(palette: Palette, error_limit: float) -> PaletteTables:
    """Make the tables.

    Parameters
    ----------
    palette
        The board's colours.
    error_limit
        How far beyond the board's colours a pixel with its errors may lie, as a share of their extent.
    """
    linear, codes = distinct_colours(palette)
    transform = (_WEIGHTS[:, None] * _OPPONENT).astype(np.float32)
    colours = linear.astype(np.float32) @ transform.T
    low, high = colours.min(axis=0).astype(np.float64), colours.max(axis=0).astype(np.float64)
    reach = (high - low) * error_limit
    bounds = np.array([low - reach, high + reach], dtype=np.float32)
    return PaletteTables(
        transform=transform,
        colours=colours,
        codes=codes,
        bounds=bounds,
        grid=make_grid(colours, bounds[0].astype(np.float64), bounds[1].astype(np.float64)),
    )
