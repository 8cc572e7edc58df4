"""A blur of a picture in linear light, compiled, for the measures of every build."""

from __future__ import annotations

import numpy as np

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.perception.lab_loops import ciede2000, lab_from

TOGETHER = 4
"""Pairs of weights that are added in one pass; those on one side of a blur must be a multiple."""
_BLOCK = 480
"""Samples of a row of codes that are blurred together: so many of all rows that a blur reaches stay in the nearest
cache."""


@compiled
def blurred(light: Singles, across: Singles, down: Singles, step: int) -> Singles:  # pragma: no cover - compiled
    """Return a picture convolved with symmetric weights, one pixel of every ``step`` across and down.

    The picture is reflected at its edges.

    Parameters
    ----------
    light
        float32 (height, width, 3).
    across, down
        float32 (1 + n,): the weights of the pixel itself and of those on one side; n a multiple of ``TOGETHER``.

    Returns
    -------
    float32 (rows, columns, 3), from the pixel at ``step // 2`` down on. From row to row the first pixel lies half a
    step further right, so that no pattern is met in step.
    """
    height, width, _ = light.shape
    step = min(step, height, width)
    lines = light.reshape(height, 3 * width)
    sums = np.empty((height // step, 3 * width), np.float32)
    for row in range(len(sums)):  # whole rows: a large picture comes from memory, in the order in which it lies there
        _add_rows(lines, step // 2 + row * step, height, down, sums[row])
    return _across(sums, across, step)


@compiled
def blurred_lab(light: Singles, across: Singles, down: Singles, step: int, shares: Singles) -> Singles:
    """Return CIELAB of a picture after a blur; see ``blurred`` and ``lab_from``."""
    return lab_from(blurred(light, across, down, step), shares)


@compiled
def differences_from(
    wanted: Singles, codes: Codes, colours: Singles, across: Singles, down: Singles, step: int, shares: Singles
) -> Singles:  # pragma: no cover - compiled
    """Return CIEDE2000 between ``wanted``, as from ``blurred_lab``, and what codes, uint16 (height, width), show.

    ``colours`` is float32 (codes, 3). One call for all: between two Python would take longer than some loops.
    Only the rows that the blur reaches are held as light, since writing all to memory would take as long as the blur.
    """
    height, width = codes.shape
    step = min(step, height, width)
    sums = np.empty((height // step, 3 * width), np.float32)
    reach, table = len(down) - 1, colours.reshape(-1)
    held = np.empty((2 * len(down) - 1, _BLOCK), np.float32)
    three, one, two = np.uintp(3), np.uintp(1), np.uintp(2)
    for begin in range(0, width, _BLOCK // 3):
        end, done = min(begin + _BLOCK // 3, width), 0
        for row in range(len(sums)):
            middle = step // 2 + row * step
            for y in range(max(done, middle - reach), min(middle + reach + 1, height)):
                source, to = codes[y, begin:end], held[y % len(held)]
                for x in range(np.uintp(end - begin)):
                    at, of = three * x, three * np.uintp(source[x])
                    to[at], to[at + one], to[at + two] = table[of], table[of + one], table[of + two]
            done = middle + reach + 1
            _add_rows(held, middle, height, down, sums[row, 3 * begin : 3 * end])
    return ciede2000(wanted, lab_from(_across(sums, across, step), shares))


@compiled
def _add_rows(lines: Singles, y: int, height: int, down: Singles, line: Singles) -> None:  # pragma: no cover - compiled
    """Fill samples of a row, float32, with the blur down around row ``y``; row r is ``lines[r % len(lines)]``."""
    middle, held, count = lines[y % len(lines)], len(lines), len(line)
    for i in range(count):
        line[i] = down[0] * middle[i]
    for tap in range(1, len(down), TOGETHER):
        _add_pairs(
            line,
            down[tap : tap + TOGETHER],
            lines[_reflected(y - tap, height) % held][:count],
            lines[_reflected(y + tap, height) % held][:count],
            lines[_reflected(y - tap - 1, height) % held][:count],
            lines[_reflected(y + tap + 1, height) % held][:count],
            lines[_reflected(y - tap - 2, height) % held][:count],
            lines[_reflected(y + tap + 2, height) % held][:count],
            lines[_reflected(y - tap - 3, height) % held][:count],
            lines[_reflected(y + tap + 3, height) % held][:count],
        )


@compiled
def _across(sums: Singles, across: Singles, step: int) -> Singles:  # pragma: no cover - compiled
    rows, count = sums.shape
    width, reach = count // 3, len(across) - 1
    columns = width // step
    ends = (reach + step - 1) // step
    size = 3 * (columns + 2 * ends + 1)
    apart = np.empty((step, size), np.float32)
    result = np.empty((rows, columns, 3), np.float32)
    for row in range(rows):
        line: Singles = sums[row]
        whole: Singles = result[row].reshape(-1)
        first = (step // 2 + row * (step // 2)) % step
        # the pixels at each distance from those taken, next to each other: only these are blurred
        for phase in range(step):
            to, x = apart[phase], first + phase - ends * step
            for i in range(columns + 2 * ends + 1):
                at = 3 * (x if 0 <= x < width else _reflected(x, width))
                to[3 * i], to[3 * i + 1], to[3 * i + 2] = line[at], line[at + 1], line[at + 2]
                x += step
        middle = apart[0, 3 * ends : 3 * (ends + columns)]
        for i in range(3 * columns):
            whole[i] = across[0] * middle[i]
        for tap in range(1, len(across), TOGETHER):
            _add_pairs(
                whole,
                across[tap : tap + TOGETHER],
                _apart(apart, -tap, ends, columns),
                _apart(apart, tap, ends, columns),
                _apart(apart, -tap - 1, ends, columns),
                _apart(apart, tap + 1, ends, columns),
                _apart(apart, -tap - 2, ends, columns),
                _apart(apart, tap + 2, ends, columns),
                _apart(apart, -tap - 3, ends, columns),
                _apart(apart, tap + 3, ends, columns),
            )
    return result


@compiled
def _apart(apart: Singles, away: int, ends: int, columns: int) -> Singles:  # pragma: no cover - compiled
    step: int = len(apart)
    begin = 3 * (ends + away // step)
    return apart[away % step, begin : begin + 3 * columns]


@compiled
def _add_pairs(
    to: Singles,
    weights: Singles,
    a0: Singles,
    a1: Singles,
    b0: Singles,
    b1: Singles,
    c0: Singles,
    c1: Singles,
    d0: Singles,
    d1: Singles,
) -> None:  # pragma: no cover - compiled
    a, b = np.float32(weights[0]), np.float32(weights[1])
    c, d = np.float32(weights[2]), np.float32(weights[3])
    for i in range(len(to)):
        to[i] += a * (a0[i] + a1[i]) + b * (b0[i] + b1[i]) + c * (c0[i] + c1[i]) + d * (d0[i] + d1[i])


@compiled
def _reflected(index: int, count: int) -> int:  # pragma: no cover - compiled
    index %= 2 * count
    return index if index < count else 2 * count - 1 - index
