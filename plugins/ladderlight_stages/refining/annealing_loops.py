"""Simulated annealing of codes: the sequential part, in CIELAB itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Singles
from ladderlight_stages.compiled import compiled

ROOTS_PER_UNIT = 2048
SLOPE_IN_THE_DARK = np.float32(24389 / 27 / 116)
"""Of CIELAB's function, where it is a straight line (CIE 15)."""


@compiled
def anneal(
    chosen: NDArray[np.int32],
    seen: Singles,
    costs: Singles,
    wanted: Singles,
    colours: Singles,
    moves: NDArray[np.int32],
    blur: Singles,
    pull: Singles,
    weights: Singles,
    balanced: Singles,
    spread: Singles,
    to_xyz: Singles,
    roots: Singles,
    draws: NDArray[np.uint16],
    limits: Singles,
) -> int:
    """Go over all pixels once, and change codes or exchange them with a neighbour's where the error then is less.

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
        int32 (colours, moves): each colour, then those that may replace it.
    blur
        float32 (2 reach + 1, 2 reach + 1, 3): what a pixel adds to what is seen around it.
    pull
        float32 (height, width, 3): the weighted error of areas convolved with ``spread``. Changed in place.
    weights
        float32 (height, width, 3): how much an error of each channel counts in areas at each pixel.
    balanced
        float32 (colours, 3): the colours in the channels of ``pull``.
    spread
        float32 (2 reach + 1, 2 reach + 1, 3): how errors of two pixels count together in areas.
    to_xyz
        float32 (3, 3): from opponent channels to XYZ as shares of white.
    roots
        float32: CIELAB's function of such shares, in steps of 1 / ROOTS_PER_UNIT.
    draws, limits
        uint16 and float32 (height, width, tries): at random, which changes are tried, and by how much the error may
        rise with each.

    Returns
    -------
    The number of changes.
    """
    height, width = chosen.shape
    reach, far = blur.shape[0] // 2, spread.shape[0] // 2
    kinds = moves.shape[1] - 1
    steps, change = np.empty(3, np.float32), np.empty(3, np.float32)
    added = np.float32(0)
    changes = 0
    for y in range(height):
        for x in range(width):
            for number in range(draws.shape[2]):
                draw = int(draws[y, x, number])
                here = chosen[y, x]
                swapped = draw & 1 == 1
                oy, ox = y, x
                if swapped:
                    place = (draw >> 1) & 3
                    oy, ox = (y, x + 1) if place == 0 else (y + 1, x + place - 2)
                    if oy >= height or ox < 0 or ox >= width:
                        continue
                    code = chosen[oy, ox]
                else:
                    code = moves[here, 1 + (draw >> 1) % kinds]
                if code == here:
                    continue
                top, bottom = max(0, y - reach), min(height, oy + reach + 1)
                left, right = max(0, min(x, ox) - reach), min(width, max(x, ox) + reach + 1)
                cost = -limits[y, x, number]
                for c in range(3):
                    steps[c] = colours[code, c] - colours[here, c]
                    step = balanced[code, c] - balanced[here, c]
                    one = weights[y, x, c] * step
                    cost += one * (one * spread[far, far, c] + 2 * pull[y, x, c])
                    if swapped:
                        other = -weights[oy, ox, c] * step
                        cost += other * (other * spread[far, far, c] + 2 * pull[oy, ox, c])
                        cost += 2 * one * other * spread[far + oy - y, far + ox - x, c]
                for ny in range(top, bottom):
                    for nx in range(left, right):
                        cost -= costs[ny, nx]
                for ny in range(top, bottom):
                    for nx in range(left, right):
                        s0, s1, s2 = seen[ny, nx, 0], seen[ny, nx, 1], seen[ny, nx, 2]
                        if ny - y <= reach and -reach <= nx - x <= reach:
                            share = blur[ny - y + reach, nx - x + reach]
                            s0 += share[0] * steps[0]
                            s1 += share[1] * steps[1]
                            s2 += share[2] * steps[2]
                        if swapped and ny - oy >= -reach and -reach <= nx - ox <= reach:
                            share = blur[ny - oy + reach, nx - ox + reach]
                            s0 -= share[0] * steps[0]
                            s1 -= share[1] * steps[1]
                            s2 -= share[2] * steps[2]
                        cost += difference(s0, s1, s2, wanted[ny, nx], to_xyz, roots)
                    if cost >= added:
                        break
                if cost >= added:
                    continue
                changes += 1
                chosen[y, x] = code
                for c in range(3):
                    change[c] = weights[y, x, c] * (balanced[code, c] - balanced[here, c])
                _pulled(pull, spread, change, y, x)
                _shown(seen, blur, steps, y, x)
                if swapped:
                    chosen[oy, ox] = here
                    for c in range(3):
                        change[c] = weights[oy, ox, c] * (balanced[here, c] - balanced[code, c])
                        steps[c] = -steps[c]
                    _pulled(pull, spread, change, oy, ox)
                    _shown(seen, blur, steps, oy, ox)
                for ny in range(top, bottom):
                    for nx in range(left, right):
                        costs[ny, nx] = difference(
                            seen[ny, nx, 0], seen[ny, nx, 1], seen[ny, nx, 2], wanted[ny, nx], to_xyz, roots
                        )
    return changes


@compiled
def _pulled(pull: Singles, spread: Singles, change: Singles, y: int, x: int) -> None:
    """Add a weighted change at one pixel to all areas that it reaches."""
    height, width, _ = pull.shape
    reach = spread.shape[0] // 2
    c0, c1, c2 = change[0], change[1], change[2]
    left, right = max(0, x - reach), min(width, x + reach + 1)
    for ny in range(max(0, y - reach), min(height, y + reach + 1)):
        row, source = pull[ny, left:right], spread[ny - y + reach, left - x + reach : right - x + reach]
        for k in range(right - left):
            row[k, 0] += c0 * source[k, 0]
            row[k, 1] += c1 * source[k, 1]
            row[k, 2] += c2 * source[k, 2]


@compiled
def _shown(seen: Singles, blur: Singles, steps: Singles, y: int, x: int) -> None:
    """Add a change at one pixel to what is seen around it."""
    height, width, _ = seen.shape
    reach = blur.shape[0] // 2
    for ny in range(max(0, y - reach), min(height, y + reach + 1)):
        for nx in range(max(0, x - reach), min(width, x + reach + 1)):
            for c in range(3):
                seen[ny, nx, c] += blur[ny - y + reach, nx - x + reach, c] * steps[c]


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
