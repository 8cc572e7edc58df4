"""Direct binary search: the sequential part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Singles
from ladderlight_stages.compiled import compiled


@compiled
def search_sweep(
    chosen: NDArray[np.int32],
    pull: Singles,
    weights: Singles,
    colours: Singles,
    moves: NDArray[np.int32],
    spread: Singles,
) -> int:
    """Go over all pixels once, and make the changes that reduce the visible error.

    Parameters
    ----------
    chosen
        int32 (height, width): the index of each pixel's colour. Changed in place.
    pull
        float32 (height, width, 3): the weighted error convolved with ``spread``. Changed in place.
    weights
        float32 (height, width, 3): how much an error of each channel counts at each pixel.
    colours
        float32 (colours, 3): in opponent channels.
    moves
        int32 (colours, moves): the colours that may replace a colour.
    spread
        float32 (2 * down + 1, 2 * across + 1, 3): the autocorrelation of the eye's blur in each channel.

    Returns
    -------
    The number of changes.
    """
    height, width = chosen.shape
    reach_y, reach_x = spread.shape[0] // 2, spread.shape[1] // 2
    centre = spread[reach_y, reach_x]
    change, other = np.empty(3, np.float32), np.empty(3, np.float32)
    changes = 0
    for y in range(height):
        for x in range(width):
            here = chosen[y, x]
            w0, w1, w2 = weights[y, x, 0], weights[y, x, 1], weights[y, x, 2]
            p0, p1, p2 = pull[y, x, 0], pull[y, x, 1], pull[y, x, 2]
            least, move, swap_y, swap_x = np.float32(-1e-7), -1, -1, -1
            for k in range(moves.shape[1]):
                code = moves[here, k]
                a0 = w0 * (colours[code, 0] - colours[here, 0])
                a1 = w1 * (colours[code, 1] - colours[here, 1])
                a2 = w2 * (colours[code, 2] - colours[here, 2])
                gain = a0 * (a0 * centre[0] + 2 * p0) + a1 * (a1 * centre[1] + 2 * p1) + a2 * (a2 * centre[2] + 2 * p2)
                if gain < least:
                    least, move = gain, code
            for dy in range(2):
                for dx in range(-1, 2):
                    ny, nx = y + dy, x + dx
                    if (dy == 0 and dx <= 0) or ny >= height or nx < 0 or nx >= width or chosen[ny, nx] == here:
                        continue
                    code = chosen[ny, nx]
                    gain = np.float32(0)
                    for c in range(3):
                        step = colours[code, c] - colours[here, c]
                        a, b = weights[y, x, c] * step, -weights[ny, nx, c] * step
                        gain += a * (a * centre[c] + 2 * pull[y, x, c]) + b * (b * centre[c] + 2 * pull[ny, nx, c])
                        gain += 2 * a * b * spread[reach_y + dy, reach_x + dx, c]
                    if gain < least:
                        least, move, swap_y, swap_x = gain, code, ny, nx
            if move < 0:
                continue
            changes += 1
            for c in range(3):
                step = colours[move, c] - colours[here, c]
                change[c] = weights[y, x, c] * step
                if swap_y >= 0:
                    other[c] = -weights[swap_y, swap_x, c] * step
            chosen[y, x] = move
            _add(pull, spread, change, y, x)
            if swap_y >= 0:
                chosen[swap_y, swap_x] = here
                _add(pull, spread, other, swap_y, swap_x)
    return changes


@compiled
def _add(pull: Singles, spread: Singles, change: Singles, y: int, x: int) -> None:
    """Add a change at one pixel to all that it reaches."""
    height, width, _ = pull.shape
    reach_y, reach_x = spread.shape[0] // 2, spread.shape[1] // 2
    c0, c1, c2 = change[0], change[1], change[2]
    left, right = max(0, x - reach_x), min(width, x + reach_x + 1)
    for ny in range(max(0, y - reach_y), min(height, y + reach_y + 1)):
        row, source = pull[ny, left:right], spread[ny - y + reach_y, left - x + reach_x : right - x + reach_x]
        for k in range(right - left):
            row[k, 0] += c0 * source[k, 0]
            row[k, 1] += c1 * source[k, 1]
            row[k, 2] += c2 * source[k, 2]
