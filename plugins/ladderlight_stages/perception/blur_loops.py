"""A blur of a picture in linear light, compiled, for the measures of every build."""

from __future__ import annotations

import numpy as np

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled

TOGETHER = 4
"""Pairs of weights that are added in one pass; those on one side of a blur must be a multiple."""


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
    for row in range(len(sums)):
        _add_rows(lines, step // 2 + row * step, height, down, sums[row])
    return _across(sums, across, step)


@compiled
def blurred_codes(
    codes: Codes, colours: Singles, across: Singles, down: Singles, step: int
) -> Singles:  # pragma: no cover - compiled
    """Return what codes, uint16 (height, width), show after a blur, as ``blurred``; ``colours`` is float32 (codes, 3).

    Only the rows that the blur reaches are held as light, since writing all to memory would take as long as the blur.
    """
    height, width = codes.shape
    step = min(step, height, width)
    sums = np.empty((height // step, 3 * width), np.float32)
    held, table, reach, done = (
        np.empty((2 * len(down) - 1, 3 * width), np.float32),
        colours.reshape(-1),
        len(down) - 1,
        0,
    )
    three, one, two = np.uintp(3), np.uintp(1), np.uintp(2)
    for row in range(len(sums)):
        middle = step // 2 + row * step
        for y in range(max(done, middle - reach), min(middle + reach + 1, height)):
            source, to = codes[y], held[y % len(held)]
            for x in range(np.uintp(width)):
                at, of = three * x, three * np.uintp(source[x])
                to[at], to[at + one], to[at + two] = table[of], table[of + one], table[of + two]
        done = middle + reach + 1
        _add_rows(held, middle, height, down, sums[row])
    return _across(sums, across, step)


@compiled
def _add_rows(lines: Singles, y: int, height: int, down: Singles, line: Singles) -> None:  # pragma: no cover - compiled
    """Fill a row, float32 (3 * width,), with the blur down around row ``y``; row r is ``lines[r % len(lines)]``."""
    middle, held = lines[y % len(lines)], len(lines)
    for i in range(len(line)):
        line[i] = down[0] * middle[i]
    for tap in range(1, len(down), TOGETHER):
        _add_pairs(
            line,
            down[tap : tap + TOGETHER],
            lines[_reflected(y - tap, height) % held],
            lines[_reflected(y + tap, height) % held],
            lines[_reflected(y - tap - 1, height) % held],
            lines[_reflected(y + tap + 1, height) % held],
            lines[_reflected(y - tap - 2, height) % held],
            lines[_reflected(y + tap + 2, height) % held],
            lines[_reflected(y - tap - 3, height) % held],
            lines[_reflected(y + tap + 3, height) % held],
        )


@compiled
def _across(sums: Singles, across: Singles, step: int) -> Singles:  # pragma: no cover - compiled
    rows, count = sums.shape
    width, reach = count // 3, len(across) - 1
    columns = width // step
    wide, whole = np.empty(count + 6 * reach, np.float32), np.empty(count, np.float32)
    result = np.empty((rows, columns, 3), np.float32)
    for row in range(rows):
        line: Singles = sums[row]
        wide[3 * reach : 3 * reach + count] = line
        for x in range(reach):
            left, right = _reflected(-1 - x, width), _reflected(width + x, width)
            for channel in range(3):
                wide[3 * (reach - 1 - x) + channel] = line[3 * left + channel]
                wide[3 * (reach + width + x) + channel] = line[3 * right + channel]
        for i in range(count):
            whole[i] = across[0] * line[i]
        for tap in range(1, len(across), TOGETHER):
            before, after = 3 * (reach - tap), 3 * (reach + tap)
            _add_pairs(
                whole,
                across[tap : tap + TOGETHER],
                wide[before : before + count],
                wide[after : after + count],
                wide[before - 3 : before - 3 + count],
                wide[after + 3 : after + 3 + count],
                wide[before - 6 : before - 6 + count],
                wide[after + 6 : after + 6 + count],
                wide[before - 9 : before - 9 + count],
                wide[after + 9 : after + 9 + count],
            )
        first = (step // 2 + row * (step // 2)) % step
        for column in range(columns):
            at = 3 * (first + column * step)
            for channel in range(3):
                result[row, column, channel] = whole[at + channel]
    return result


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
