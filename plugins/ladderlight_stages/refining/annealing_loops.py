"""Simulated annealing of codes: the sequential part, in CIELAB itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Singles
from ladderlight_stages.compiled import compiled

_DARK = 216 / 24389  # share of white below which CIELAB's function is a straight line (CIE 15)
_SLOPE = 24389 / 27 / 116
_C0, _C1, _C2, _C3, _C4 = -0.02025787, 0.55618232, 0.6809533, -0.28296362, 0.06606241
"""Of a polynomial in fourth roots, which is the cube root of ``_DARK`` to 1.3 within 3.4e-5: roots of two are fast."""


@compiled
def anneal(
    chosen: NDArray[np.int32],
    seen: Singles,
    wanted: Singles,
    colours: Singles,
    moves: NDArray[np.int32],
    changed: Singles,
    places: NDArray[np.int32],
    exchanged: Singles,
    pull: Singles,
    weights: Singles,
    balanced: Singles,
    spread: Singles,
    to_xyz: Singles,
    luck: Singles,
) -> int:
    """Go over all pixels once: each takes another code, and then a neighbour's in exchange, or keeps its own.

    Of all codes and all neighbours, the one with which the error less its luck is least is taken.

    Parameters
    ----------
    chosen
        int32 (height, width): the index of each pixel's colour. Changed in place.
    seen
        float32 (height, width, 3): what is seen, in opponent channels. Changed in place as far as the blur is followed.
    wanted
        float32 (height, width, 5): CIELAB of the picture as seen, the weights of lightness and of chroma.
    colours
        float32 (colours, 3): in opponent channels.
    moves
        int32 (colours, moves): each colour, then those that may replace it.
    changed, exchanged
        float32 (rows, columns, 3, moves) and (rows, columns, 3, places): what a step of the middle pixel's colour adds
        to what is seen around it, where the pixel at the place takes the opposite step, if that is another one.
    places
        int32 (places, 2): rows and columns from a pixel to those with which it may exchange codes, itself first.
    pull
        float32 (3, height, width): the weighted error of areas convolved with ``spread``. Changed in place.
    weights
        float32 (height, width, 3): how much an error of each channel counts in areas at each pixel.
    balanced
        float32 (colours, 3): the colours in the channels of ``pull``.
    spread
        float32 (2 reach + 1, 2 reach + 1): how errors of two pixels count together in areas.
    to_xyz
        float32 (3, 3): from opponent channels to XYZ as shares of white.
    luck
        float32 (height, width, moves + places): at random.

    Returns
    -------
    The number of changes.
    """
    height, width = chosen.shape
    kinds, count = moves.shape[1], len(places)
    far = spread.shape[0] // 2
    steps, costs = np.zeros((3, kinds), np.float32), np.empty(kinds, np.float32)
    swaps, prices = np.zeros((3, count), np.float32), np.empty(count, np.float32)
    two, whole = np.float32(2), spread[far, far]
    changes = 0
    for y in range(height):
        for x in range(width):
            here: int = chosen[y, x]
            for k in range(kinds):
                code: int = moves[here, k]
                cost: np.float32 = -luck[y, x, k]
                for c in range(3):
                    steps[c, k] = colours[code, c] - colours[here, c]
                    one: np.float32 = weights[y, x, c] * (balanced[code, c] - balanced[here, c])
                    cost += one * (one * whole + two * pull[c, y, x])
                costs[k] = cost
            _add_differences(costs, steps, changed, seen, wanted, to_xyz, y, x)
            best = int(np.argmin(costs))
            code = moves[here, best]
            if code != here:
                changes += 1
                chosen[y, x] = code
                _show(seen, changed, steps, best, y, x)
                _pull(pull, spread, weights, balanced, y, x, here, code)
                here = code
            for k in range(count):
                oy, ox = y + places[k, 0], x + places[k, 1]
                cost = -luck[y, x, kinds + k]
                if oy < 0 or oy >= height or ox < 0 or ox >= width or (k > 0 and chosen[oy, ox] == here):
                    prices[k] = np.inf
                    continue
                code = chosen[oy, ox]
                for c in range(3):
                    swaps[c, k] = colours[code, c] - colours[here, c]
                    difference: np.float32 = balanced[code, c] - balanced[here, c]
                    one, other = weights[y, x, c] * difference, -weights[oy, ox, c] * difference
                    cost += one * (one * whole + two * pull[c, y, x]) + other * (other * whole + two * pull[c, oy, ox])
                    cost += two * one * other * spread[far + oy - y, far + ox - x]
                prices[k] = cost
            _add_differences(prices, swaps, exchanged, seen, wanted, to_xyz, y, x)
            best = int(np.argmin(prices))
            if best > 0:
                changes += 1
                oy, ox = y + places[best, 0], x + places[best, 1]
                code = chosen[oy, ox]
                chosen[y, x], chosen[oy, ox] = code, here
                _show(seen, exchanged, swaps, best, y, x)
                _pull(pull, spread, weights, balanced, y, x, here, code)
                _pull(pull, spread, weights, balanced, oy, ox, code, here)
    return changes


@compiled
def _add_differences(
    costs: Singles, steps: Singles, blur: Singles, seen: Singles, wanted: Singles, to_xyz: Singles, y: int, x: int
) -> None:
    """Add to each cost the weighted CIELAB differences from the picture around a pixel that a step of its colour makes.

    ``costs`` float32 (n,), ``steps`` float32 (3, n), ``blur`` float32 (rows, columns, 3, n).
    """
    height, width, _ = seen.shape
    reach = blur.shape[0] // 2
    dark, slope, zero = np.float32(_DARK), np.float32(_SLOPE), np.float32(16 / 116)
    c0, c1, c2, c3, c4 = np.float32(_C0), np.float32(_C1), np.float32(_C2), np.float32(_C3), np.float32(_C4)
    for ny in range(max(0, y - reach), min(height, y + reach + 1)):
        for nx in range(max(0, x - reach), min(width, x + reach + 1)):
            shares, lab = blur[ny - y + reach, nx - x + reach], wanted[ny, nx]
            s0, s1, s2 = seen[ny, nx, 0], seen[ny, nx, 1], seen[ny, nx, 2]
            l0, a0, b0, bright, dull = lab[0] + np.float32(16), lab[1], lab[2], lab[3], lab[4]
            for k in range(len(costs)):
                o0: np.float32 = s0 + shares[0, k] * steps[0, k]
                o1: np.float32 = s1 + shares[1, k] * steps[1, k]
                o2: np.float32 = s2 + shares[2, k] * steps[2, k]
                px: np.float32 = to_xyz[0, 0] * o0 + to_xyz[0, 1] * o1 + to_xyz[0, 2] * o2
                py: np.float32 = to_xyz[1, 0] * o0 + to_xyz[1, 1] * o1 + to_xyz[1, 2] * o2
                pz: np.float32 = to_xyz[2, 0] * o0 + to_xyz[2, 1] * o1 + to_xyz[2, 2] * o2
                tx, ty, tz = (
                    np.sqrt(np.sqrt(max(px, dark))),
                    np.sqrt(np.sqrt(max(py, dark))),
                    np.sqrt(np.sqrt(max(pz, dark))),
                )
                # below, where the blur takes away some of the surroundings even below zero, the line goes on
                fx = c0 + tx * (c1 + tx * (c2 + tx * (c3 + tx * c4))) if px > dark else slope * px + zero
                fy = c0 + ty * (c1 + ty * (c2 + ty * (c3 + ty * c4))) if py > dark else slope * py + zero
                fz = c0 + tz * (c1 + tz * (c2 + tz * (c3 + tz * c4))) if pz > dark else slope * pz + zero
                light = (np.float32(116) * fy - l0) * bright
                a, b = np.float32(500) * (fx - fy) - a0, np.float32(200) * (fy - fz) - b0
                costs[k] += np.sqrt(light * light + (a * a + b * b) * dull)


@compiled
def _show(seen: Singles, blur: Singles, steps: Singles, which: int, y: int, x: int) -> None:
    """Add one of some steps to what is seen around a pixel."""
    height, width, _ = seen.shape
    reach = blur.shape[0] // 2
    for ny in range(max(0, y - reach), min(height, y + reach + 1)):
        for nx in range(max(0, x - reach), min(width, x + reach + 1)):
            for c in range(3):
                seen[ny, nx, c] += blur[ny - y + reach, nx - x + reach, c, which] * steps[c, which]


@compiled
def _pull(
    pull: Singles, spread: Singles, weights: Singles, balanced: Singles, y: int, x: int, old: int, new: int
) -> None:
    """Add the weighted change of a pixel's code to all areas that it reaches."""
    _, height, width = pull.shape
    reach = spread.shape[0] // 2
    left, right = max(0, x - reach), min(width, x + reach + 1)
    for c in range(3):
        change: np.float32 = weights[y, x, c] * (balanced[new, c] - balanced[old, c])
        for ny in range(max(0, y - reach), min(height, y + reach + 1)):
            row, source = pull[c, ny, left:right], spread[ny - y + reach, left - x + reach : right - x + reach]
            for k in range(right - left):
                row[k] += change * source[k]
