"""The nearest of any set of colours: a grid of cells, each with all the colours that can be nearest within it."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.compiled import compiled


class Grid(NamedTuple):
    """The colours that can be nearest in each cell.

    Cell (i, j, k) of ``size`` each way is number ``(i * size + j) * size + k``. Its colours, ascending, are
    ``members[starts[n] : starts[n + 1]]``; ``central[n]`` is nearest to its centre. ``doubt[n]`` is the
    furthest that ``central``, taken for the whole cell, oversteps the border to another colour, as a share of the
    distance between the two.
    """

    size: int
    starts: NDArray[np.int32]
    members: NDArray[np.int32]
    central: NDArray[np.int32]
    doubt: Floats


def make_grid(colours: NDArray[np.floating], transform: NDArray[np.floating], edges: NDArray[np.floating]) -> Grid:
    """Make the grid of some colours, (colours, 3) in the space of its axes.

    ``transform``, (3, 3), leads to the space in which the straight distance is to be least; ``edges``, (3, size + 1),
    are the ends of the cells along each axis, ascending, with a power of two as ``size``. A colour is left out of a
    cell only when the colour nearest to the cell's centre is nearer at every corner: the difference of two squared
    distances is linear in place, so it is then nearer everywhere within.
    """
    size = edges.shape[1] - 1
    starts = np.array([0, len(colours)], dtype=np.int32)
    members = np.arange(len(colours), dtype=np.int32)
    central, doubt = np.zeros(1, dtype=np.int32), np.zeros(1)
    parts = 1
    while parts < size:
        parts *= 2
        starts, members, central, doubt = _refine(
            np.ascontiguousarray(colours, dtype=np.float64),
            np.ascontiguousarray(transform, dtype=np.float64),
            np.ascontiguousarray(edges[:, :: size // parts], dtype=np.float64),
            starts,
            members,
        )
    return Grid(size=size, starts=starts, members=members, central=central, doubt=doubt)


@compiled
def _refine(
    colours: Floats,
    transform: Floats,
    edges: Floats,
    parent_starts: NDArray[np.int32],
    parent_members: NDArray[np.int32],
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32], Floats]:
    """Halve the cells: each child keeps those of its parent's colours that can be nearest within it."""
    size = edges.shape[1] - 1
    starts = np.zeros(size**3 + 1, np.int32)
    members = np.empty(8 * len(parent_members), np.int32)
    central = np.empty(size**3, np.int32)
    doubt = np.zeros(size**3)
    placed = np.empty(colours.shape)
    for c in range(len(colours)):
        for axis in range(3):
            placed[c, axis] = 0.0
            for source in range(3):
                placed[c, axis] += transform[axis, source] * colours[c, source]
    centre, half, cell = np.empty(3), np.empty(3), np.empty(3, np.int64)
    count, number = 0, 0
    for i in range(size):
        for j in range(size):
            for k in range(size):
                cell[0], cell[1], cell[2] = i, j, k
                centre[:] = 0.0
                for axis in range(3):
                    low = float(edges[axis, cell[axis]])
                    high = float(edges[axis, cell[axis] + 1])
                    half[axis] = (high - low) * 0.5005  # a little wider, for rounding
                    for target in range(3):
                        centre[target] += transform[target, axis] * (low + high) / 2
                parent = ((i // 2) * (size // 2) + j // 2) * (size // 2) + k // 2
                first, last = int(parent_starts[parent]), int(parent_starts[parent + 1])
                least, near = np.inf, int(parent_members[first])
                for m in range(first, last):
                    gap = _gap(centre, placed[parent_members[m]])
                    if gap < least:
                        least, near = gap, int(parent_members[m])
                central[number] = near
                for m in range(first, last):
                    other = int(parent_members[m])
                    reach, apart = 0.0, 0.0
                    for axis in range(3):
                        along = 0.0
                        for target in range(3):
                            along += (placed[other, target] - placed[near, target]) * transform[target, axis]
                        reach += abs(along) * half[axis]
                        apart += (placed[other, axis] - placed[near, axis]) ** 2
                    over = 2 * reach - (_gap(centre, placed[other]) - least)
                    if over >= -1e-9:
                        members[count] = other
                        count += 1
                        if other != near:
                            doubt[number] = max(doubt[number], over / (2 * apart))
                number += 1
                starts[number] = count
    return starts, members[:count].copy(), central, doubt


@compiled
def _gap(a: Floats, b: Floats) -> float:
    gap: float = (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2
    return gap


@compiled
def nearest_members(points: Singles, colours: Singles, low: Singles, scale: Singles, grid: Grid) -> NDArray[np.int32]:
    """Return, for each point, the index of the nearest colour, the lowest of several.

    ``low`` and ``scale`` are the lowest corner of an even grid's box, and cells per unit.
    """
    size, starts, members, _, _ = grid
    result = np.empty(len(points), np.int32)
    for n in range(len(points)):
        p0, p1, p2 = np.float32(points[n, 0]), np.float32(points[n, 1]), np.float32(points[n, 2])
        i = min(max(int((p0 - low[0]) * scale[0]), 0), size - 1)
        j = min(max(int((p1 - low[1]) * scale[1]), 0), size - 1)
        k = min(max(int((p2 - low[2]) * scale[2]), 0), size - 1)
        cell = (i * size + j) * size + k
        first, last = int(starts[cell]), int(starts[cell + 1])
        best = int(members[first])
        if last - first > 1:
            least = np.float32(np.inf)
            for m in range(first, last):
                c = int(members[m])
                gap = (p0 - colours[c, 0]) ** 2 + (p1 - colours[c, 1]) ** 2 + (p2 - colours[c, 2]) ** 2
                if gap < least:
                    least, best = gap, c
        result[n] = best
    return result
