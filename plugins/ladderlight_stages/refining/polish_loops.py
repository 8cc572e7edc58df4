"""The last step of the search for codes: the sequential part, in CIELAB itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Singles
from ladderlight_stages.compiled import compiled

ROOTS_PER_UNIT = 2048
SLOPE_IN_THE_DARK = np.float32(24389 / 27 / 116)
"""Of CIELAB's function, where it is a straight line (CIE 15)."""


@compiled
def polish(
    chosen: NDArray[np.int32],
    seen: Singles,
    costs: Singles,
    wanted: Singles,
    colours: Singles,
    moves: NDArray[np.int32],
    blur: Singles,
    to_xyz: Singles,
    roots: Singles,
    phase: int,
    phases: int,
) -> None:
    """Go over one of every ``phases`` pixels and change codes where that reduces the difference seen around them.

    Parameters
    ----------
    chosen
        int32 (height, width): the index of each pixel's colour. Changed in place.
    seen, costs
        float32 (height, width, 3) and (height, width): what is seen, in opponent channels, and the difference that this
        makes at each pixel. Changed in place, as far as ``blur`` reaches.
    wanted
        float32 (height, width, 5): CIELAB of the picture as seen, the weight of lightness, that of chroma squared.
    colours
        float32 (colours, 3): in opponent channels.
    moves
        int32 (colours, moves): the colours that may replace a colour.
    blur
        float32 (2 reach + 1, 2 reach + 1, 3): what a pixel adds to what is seen around it.
    to_xyz
        float32 (3, 3): from opponent channels to XYZ as shares of white.
    roots
        float32: CIELAB's function of such shares, in steps of 1 / ROOTS_PER_UNIT.
    """
    height, width = chosen.shape
    reach = blur.shape[0] // 2
    for y in range(height):
        for x in range(width):
            if (x + 3 * y) % phases != phase:
                continue
            here = chosen[y, x]
            top, bottom = max(0, y - reach), min(height, y + reach + 1)
            left, right = max(0, x - reach), min(width, x + reach + 1)
            least = np.float32(-1e-3)
            for ny in range(top, bottom):
                for nx in range(left, right):
                    least += costs[ny, nx]
            move = -1
            for k in range(moves.shape[1]):
                code = moves[here, k]
                if code == here:
                    continue
                s0 = colours[code, 0] - colours[here, 0]
                s1 = colours[code, 1] - colours[here, 1]
                s2 = colours[code, 2] - colours[here, 2]
                cost = np.float32(0)
                for ny in range(top, bottom):
                    for nx in range(left, right):
                        share = blur[ny - y + reach, nx - x + reach]
                        cost += difference(
                            seen[ny, nx, 0] + share[0] * s0,
                            seen[ny, nx, 1] + share[1] * s1,
                            seen[ny, nx, 2] + share[2] * s2,
                            wanted[ny, nx],
                            to_xyz,
                            roots,
                        )
                    if cost >= least:
                        break
                if cost < least:
                    least, move = cost, code
            if move < 0:
                continue
            chosen[y, x] = move
            for ny in range(top, bottom):
                for nx in range(left, right):
                    for c in range(3):
                        step = colours[move, c] - colours[here, c]
                        seen[ny, nx, c] += blur[ny - y + reach, nx - x + reach, c] * step
                    costs[ny, nx] = difference(
                        seen[ny, nx, 0], seen[ny, nx, 1], seen[ny, nx, 2], wanted[ny, nx], to_xyz, roots
                    )


@compiled
def difference(o0: float, o1: float, o2: float, wanted: Singles, to_xyz: Singles, roots: Singles) -> float:
    """Return the weighted CIELAB difference of one pixel in opponent channels from the picture as seen there."""
    x = _root(to_xyz[0, 0] * o0 + to_xyz[0, 1] * o1 + to_xyz[0, 2] * o2, roots)
    y = _root(to_xyz[1, 0] * o0 + to_xyz[1, 1] * o1 + to_xyz[1, 2] * o2, roots)
    z = _root(to_xyz[2, 0] * o0 + to_xyz[2, 1] * o1 + to_xyz[2, 2] * o2, roots)
    lightness = (np.float32(116) * y - np.float32(16) - wanted[0]) * wanted[3]
    a = np.float32(500) * (x - y) - wanted[1]
    b = np.float32(200) * (y - z) - wanted[2]
    seen: float = np.sqrt(lightness * lightness + (a * a + b * b) * wanted[4])
    return seen


@compiled
def _root(share: float, roots: Singles) -> float:
    if share < 0:  # the blur takes away some of the surroundings
        dark: float = roots[0] + share * SLOPE_IN_THE_DARK
        return dark
    place = share * np.float32(ROOTS_PER_UNIT)
    below = min(int(place), len(roots) - 2)
    root: float = roots[below] + (place - np.float32(below)) * (roots[below + 1] - roots[below])
    return root


@compiled
def differences(seen: Singles, wanted: Singles, to_xyz: Singles, roots: Singles) -> Singles:
    """Return the weighted CIELAB difference at each pixel, float32 (height, width)."""
    height, width, _ = seen.shape
    costs = np.empty((height, width), np.float32)
    for y in range(height):
        for x in range(width):
            costs[y, x] = difference(seen[y, x, 0], seen[y, x, 1], seen[y, x, 2], wanted[y, x], to_xyz, roots)
    return costs
