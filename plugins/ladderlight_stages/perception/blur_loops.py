"""A blur of a picture in linear light, compiled, for the measures of every build."""

from __future__ import annotations

import numpy as np

from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.compiled import compiled


@compiled
def blurred(light: Singles, across: Singles, down: Singles, step: int) -> Floats:  # pragma: no cover - compiled
    """Return a picture convolved with symmetric weights, every ``step``-th pixel of it; reflected at its edges.

    Parameters
    ----------
    light
        float32 (height, width, 3).
    across, down
        float32 (2 n + 1,): the weights by pixel.

    Returns
    -------
    float64 (rows, columns, 3), from the pixel at ``step // 2`` on.
    """
    height, width, _ = light.shape
    first = step // 2 if min(height, width) > step // 2 else 0
    rows, columns = (height - first + step - 1) // step, (width - first + step - 1) // step
    reach = len(across) // 2
    lines = light.reshape(height, 3 * width)
    line = np.empty(3 * width, np.float32)
    wide = np.empty(3 * (width + 2 * reach), np.float32)
    result = np.empty((rows, columns, 3))
    for row in range(rows):
        line[:] = 0
        for tap in range(len(down)):
            source = lines[_reflected(first + row * step + tap - len(down) // 2, height)]
            weight = down[tap]
            for i in range(3 * width):  # a loop of its own: the compiler takes many samples at a time
                line[i] += weight * source[i]
        wide[3 * reach : 3 * (reach + width)] = line
        for x in range(reach):
            left, right = _reflected(-1 - x, width), _reflected(width + x, width)
            for channel in range(3):
                wide[3 * (reach - 1 - x) + channel] = line[3 * left + channel]
                wide[3 * (reach + width + x) + channel] = line[3 * right + channel]
        for column in range(columns):
            start = 3 * (first + column * step)
            red, green, blue = np.float32(0), np.float32(0), np.float32(0)
            for tap in range(len(across)):
                red += across[tap] * wide[start + 3 * tap]
                green += across[tap] * wide[start + 3 * tap + 1]
                blue += across[tap] * wide[start + 3 * tap + 2]
            result[row, column, 0], result[row, column, 1], result[row, column, 2] = red, green, blue
    return result


@compiled
def _reflected(index: int, count: int) -> int:  # pragma: no cover - compiled
    index %= 2 * count
    return index if index < count else 2 * count - 1 - index
