"""Tables for the loops that reduce to any set of colours."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ladderlight import Palette
from ladderlight.units.arrays import Codes, Floats
from ladderlight_stages.halftone.grid import Grid, make_grid
from ladderlight_stages.halftone.palette_loops import BIN_BITS, CELL_BITS, CELL_FIRST, LIST, UNITS, PaletteTables

OPPONENT = np.array(
    [
        [0.2126, 0.7152, 0.0722],
        [0.5, -0.5, 0.0],
        [-0.25, -0.25, 0.5],
    ]
)
"""Luminance, red against green, blue against yellow, in linear light."""
_WEIGHTS = np.array([1.0, 0.75, 0.5])
"""Their weights when the nearest colour is chosen; found by trial on photographs with S-CIELAB."""
_SIZES = tuple(1 << bits for bits in CELL_BITS)
_DOUBT = 0.45
"""How far the border between two colours may be overstepped, as a share of their distance, to save a search.

Less than half, so that a colour of the board is always its own nearest.
"""


def unique_colours(palette: Palette) -> tuple[Floats, Codes]:
    """Return the colours of a board in linear light, each once, with the lowest code of each, by code."""
    _, first = np.unique(palette.linear, axis=0, return_index=True)
    first = np.sort(first)
    return palette.linear[first], first.astype(np.uint16)


@lru_cache(maxsize=8)
def colour_places(palette: Palette) -> NDArray[np.int32]:
    """Return, for each code of a board, the place of its colour among ``unique_colours``, int32 (codes,)."""
    _, first, colour = np.unique(palette.linear, axis=0, return_index=True, return_inverse=True)
    return np.argsort(np.argsort(first)).astype(np.int32)[colour.reshape(-1)]


@lru_cache(maxsize=8)
def palette_tables(palette: Palette, error_limit: float) -> PaletteTables:
    """Make the tables of a board's colours.

    ``error_limit`` is how far beyond them a pixel with its errors may lie, as a share of their extent.
    """
    return make_tables(*unique_colours(palette), error_limit)


def make_tables(linear: Floats, codes: Codes, error_limit: float) -> PaletteTables:
    """Make the tables for unique colours, float64 (colours, 3) in linear light, and their codes."""
    transform = _WEIGHTS[:, None] * OPPONENT
    low, high = linear.min(axis=0), linear.max(axis=0)
    # few colours leave errors as large as half the step between them, whatever the limit
    reach = np.maximum((high - low) * max(error_limit, 1 / len(linear)), 1e-3)
    start = (low - reach).astype(np.float32)
    # in the loop's own single-precision steps, so that a pixel of exactly a colour leaves no error
    counted = ((linear.astype(np.float32) - start) * np.float32(UNITS) + np.float32(0.5)).astype(np.int32)
    top = np.floor((high + reach - start) * UNITS).astype(np.int32)
    bins, edges = _cells_of_bins(top, (low - start) * UNITS)
    cells, lists = _lists(make_grid(counted / UNITS, transform, edges / UNITS))
    # the largest possible error of a pixel is less than the whole range
    room = bins.shape[1]
    bottom = np.full(3, room << BIN_BITS, dtype=np.int32)
    return PaletteTables(
        transform=transform.astype(np.float32),
        start=start,
        bottom=bottom,
        top=bottom + top,
        bins=np.pad(bins, ((0, 0), (room, room)), mode="edge"),
        colours=np.ascontiguousarray(np.pad(counted + bottom, ((0, 0), (0, 1)))),
        codes=codes,
        cells=cells,
        lists=lists,
    )


def _cells_of_bins(top: NDArray[np.int32], black: Floats) -> tuple[Codes, Floats]:
    """Divide the bins of light into cells, finer in the dark where a board's colours lie close together.

    Returns the addend of each bin to the number of its cell, uint16 (3, bins), and the edges of a grid in units,
    float64 (3, largest size + 1). Where a gun has fewer cells, some of the grid's are empty.
    """
    count = (int(top.max()) >> BIN_BITS) + 1
    bins = np.empty((3, count), dtype=np.uint16)
    finest = max(_SIZES)
    edges = np.empty((3, finest + 1))
    for gun in range(3):
        light = ((np.arange(count) + 0.5) * 2**BIN_BITS - black[gun]) / UNITS
        spread = np.where(light < 0, 0.5, 1.0) * np.sign(light) * np.sqrt(np.abs(light) + 1e-3)
        share = (spread - spread[0]) / (spread[-1] - spread[0])
        size = _SIZES[gun]
        cell = np.minimum((share * size).astype(np.int32), size - 1)
        edges[gun] = np.searchsorted(cell * (finest // size), np.arange(finest + 1)) * 2.0**BIN_BITS
        bins[gun] = _addends(gun)[cell]
    return bins, edges


def _addends(gun: int) -> NDArray[np.int32]:
    """Return the addend of each of a gun's cells to the number of a cell, int32 (cells,)."""
    cell, bit = np.arange(_SIZES[gun], dtype=np.int32)[:, None], np.arange(CELL_BITS[gun], dtype=np.int32)
    addends: NDArray[np.int32] = ((cell >> bit & 1) << (CELL_FIRST[gun] + 3 * bit)).sum(axis=1, dtype=np.int32)
    return addends


def _lists(grid: Grid) -> tuple[Codes, NDArray[np.int32]]:
    """Return each cell's one colour, or LIST; and where the colours of all cells begin and end, then the colours."""
    first = [np.arange(size) * (grid.size // size) for size in _SIZES]
    taken = np.empty(np.prod(_SIZES), dtype=np.intp)
    cells = np.add.outer(np.add.outer(_addends(0), _addends(1)), _addends(2))
    taken[cells] = (first[0][:, None, None] * grid.size + first[1][:, None]) * grid.size + first[2]
    cells = np.where(grid.doubt[taken] > _DOUBT, LIST, grid.central[taken]).astype(np.uint16)
    places = np.stack([grid.starts[taken], grid.starts[taken + 1]], axis=1) + 2 * len(taken)
    return cells, np.concatenate([places.ravel(), grid.members]).astype(np.int32)
