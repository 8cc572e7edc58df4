"""The nearest of any set of colours: a grid whose cells list all the colours that can be nearest within them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight_stages.reductions.compiled import compiled

_SIZES = (1, 2, 4, 8, 16, 32)


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """Cells over a box: ``box`` float32 (2, 3), the lowest corner and cells per unit; ``size`` cells each way.

    Cell (i, j, k) is number ``(i * size + j) * size + k``; its colours are ``members[starts[n] : starts[n + 1]]``,
    ascending.
    """

    box: NDArray[np.float32]
    size: int
    starts: NDArray[np.int32]
    members: NDArray[np.int32]


def make_grid(colours: NDArray[np.float32], low: NDArray[np.float64], high: NDArray[np.float64]) -> Grid:
    """Make the grid for a box.

    Parameters
    ----------
    colours
        float32 (colours, 3), in any space whose straight distance is the one to be least.
    low, high
        The corners of the box, (3,).

    Notes
    -----
    A colour is left out of a cell only when the colour nearest to the cell's centre is nearer at every corner: the
    difference of two squared distances is linear in place, so it is then nearer everywhere within.
    """
    starts = np.array([0, len(colours)], dtype=np.int32)
    members = np.arange(len(colours), dtype=np.int32)
    extent = np.maximum(np.asarray(high, dtype=np.float64) - low, 1e-6)
    for size in _SIZES[1:]:
        starts, members = _refine(colours, low, extent / size, size, starts, members)
    size = _SIZES[-1]
    box = np.array([low, size / extent * (1 - 1e-6)], dtype=np.float32)
    return Grid(box=box, size=size, starts=starts, members=members)


@compiled
def _refine(colours: Any, low: Any, cell: Any, size: Any, parent_starts: Any, parent_members: Any) -> Any:
    """Halve the cells: each child keeps those of its parent's colours that can be nearest within it."""
    starts = np.zeros(size**3 + 1, np.int32)
    members = np.empty(8 * len(parent_members), np.int32)
    count = 0
    half = np.empty(3)
    for axis in range(3):
        half[axis] = cell[axis] * (0.5 + 1e-3)  # a little wider, for rounding in single precision
    number = 0
    for i in range(size):
        for j in range(size):
            for k in range(size):
                parent = ((i // 2) * (size // 2) + j // 2) * (size // 2) + k // 2
                first, last = parent_starts[parent], parent_starts[parent + 1]
                c0, c1, c2 = low[0] + (i + 0.5) * cell[0], low[1] + (j + 0.5) * cell[1], low[2] + (k + 0.5) * cell[2]
                least, nearest = np.inf, first
                for m in range(first, last):
                    colour = colours[parent_members[m]]
                    gap = (c0 - colour[0]) ** 2 + (c1 - colour[1]) ** 2 + (c2 - colour[2]) ** 2
                    if gap < least:
                        least, nearest = gap, m
                best = colours[parent_members[nearest]]
                for m in range(first, last):
                    colour = colours[parent_members[m]]
                    gap = (c0 - colour[0]) ** 2 + (c1 - colour[1]) ** 2 + (c2 - colour[2]) ** 2
                    reach = (
                        abs(colour[0] - best[0]) * half[0]
                        + abs(colour[1] - best[1]) * half[1]
                        + abs(colour[2] - best[2]) * half[2]
                    )
                    if gap - least <= 2 * reach + 1e-9:
                        members[count] = parent_members[m]
                        count += 1
                number += 1
                starts[number] = count
    return starts, members[:count].copy()


@compiled
def nearest_members(points: Any, colours: Any, box: Any, size: Any, starts: Any, members: Any) -> Any:
    """Give for points, float32 (points, 3) within the box, the index of the nearest colour, the lowest of several."""
    result = np.empty(len(points), np.int32)
    for n in range(len(points)):
        p0, p1, p2 = points[n, 0], points[n, 1], points[n, 2]
        i = min(max(int((p0 - box[0, 0]) * box[1, 0]), 0), size - 1)
        j = min(max(int((p1 - box[0, 1]) * box[1, 1]), 0), size - 1)
        k = min(max(int((p2 - box[0, 2]) * box[1, 2]), 0), size - 1)
        cell = (i * size + j) * size + k
        best = members[starts[cell]]
        if starts[cell + 1] - starts[cell] > 1:
            least = np.float32(np.inf)
            for m in range(starts[cell], starts[cell + 1]):
                c = members[m]
                gap = (p0 - colours[c, 0]) ** 2 + (p1 - colours[c, 1]) ** 2 + (p2 - colours[c, 2]) ** 2
                if gap < least:
                    least, best = gap, c
        result[n] = best
    return result
