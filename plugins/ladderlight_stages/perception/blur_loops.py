"""A blur of a picture in linear light, compiled, for the measures of every build.

A pixel is copied as four numbers, the fourth of which the next pixel overwrites: one move of the processor for three.
So arrays that are written thus have room for one number more.
"""

from __future__ import annotations

import numpy as np

from ladderlight.units.arrays import Codes, Ints, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.perception.lab_loops import ciede2000, lab_from

REACH = 8
"""Pixels on each side that a blur takes in: as many as are added in one pass."""


@compiled
def blurred(light: Singles, across: Singles, down: Singles, step: int) -> Singles:  # pragma: no cover - compiled
    """Return a picture, float32 (height, width, 3), blurred: one pixel of every ``step`` across and down.

    ``across`` and ``down``, float32 (1 + REACH,), are the weights of the pixel itself and of those on one side. The
    picture is reflected at its edges. The first row is that at ``step // 2``; from row to row the first pixel lies half
    a step further right, so that no pattern is met in step.
    """
    height, width, _ = light.shape
    step = min(step, height, width)
    lines, rows = light.reshape(-1), _reflected(height)
    places, starts = _phases(width, step)
    line, apart = np.empty(3 * width + 1, np.float32), np.empty(3 * len(places) + 1, np.float32)
    result = np.empty((height // step, width // step, 3), np.float32)
    for row in range(len(result)):
        middle = step // 2 + row * step
        around = 3 * width * rows[middle : middle + 2 * REACH + 1]
        first = (step // 2 + row * (step // 2)) % step
        _blur_row(lines, around, down, places, starts[first], across, line, apart, result[row].reshape(-1))
    return result


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
    rows, count, pitch = _reflected(height), 2 * REACH + 1, 3 * width + 1
    places, starts = _phases(width, step)
    line, apart = np.empty(3 * width + 1, np.float32), np.empty(3 * len(places) + 1, np.float32)
    result = np.empty((height // step, width // step, 3), np.float32)
    table = np.empty(4 * len(colours), np.float32)
    for code in range(len(colours)):
        for gun in range(3):
            table[4 * code + gun] = colours[code, gun]
    held, done = np.empty(count * pitch, np.float32), 0
    for row in range(len(result)):
        middle = step // 2 + row * step
        for y in range(max(done, middle - REACH), min(middle + REACH + 1, height)):
            source, to = codes[y], held[y % count * pitch :]
            for x in range(np.uintp(width)):
                _copy(table, np.uintp(4) * np.uintp(source[x]), to, np.uintp(3) * x)
        done = middle + REACH + 1
        around = rows[middle : middle + count] % count * pitch
        first = (step // 2 + row * (step // 2)) % step
        _blur_row(held, around, down, places, starts[first], across, line, apart, result[row].reshape(-1))
    return ciede2000(wanted, lab_from(result, shares))


@compiled
def _reflected(count: int) -> Ints:  # pragma: no cover - compiled
    """Return the rows or columns from REACH before the first to REACH after the last, as reflected at the edges."""
    found = np.empty(count + 2 * REACH, np.int64)
    for i in range(len(found)):
        index = (i - REACH) % (2 * count)
        found[i] = index if index < count else 2 * count - 1 - index
    return found


@compiled
def _phases(width: int, step: int) -> tuple[Ints, Ints]:  # pragma: no cover - compiled
    """Return how to lay every ``step``-th pixel of a row side by side, so that only those that are taken are blurred.

    Returns where the samples of the pixels come from, phase after phase, those beyond the edges included; and for each
    first pixel, (step, 2 REACH + 1), where the samples to be added begin.
    """
    ends = -(-REACH // step)
    columns = width // step + 2 * ends
    reflected = _reflected(width)
    places, starts = np.empty(step * columns, np.int64), np.empty((step, 2 * REACH + 1), np.int64)
    for phase in range(step):
        for column in range(columns):
            at = (column - ends) * step + phase + REACH
            places[phase * columns + column] = 3 * int(reflected[max(0, min(at, len(reflected) - 1))])  # beyond: unused
        for tap in range(2 * REACH + 1):
            x = phase + tap - REACH
            starts[phase, tap] = 3 * (x % step * columns + ends + x // step)
    return places, starts


@compiled
def _blur_row(
    lines: Singles,
    rows: Ints,
    down: Singles,
    places: Ints,
    starts: Ints,
    across: Singles,
    line: Singles,
    apart: Singles,
    to: Singles,
) -> None:  # pragma: no cover - compiled
    """Fill in a row of a blurred picture from the rows that begin at ``rows`` in ``lines``; see ``_phases``.

    ``line`` and ``apart`` are for the row after the blur down, as it is and phase after phase.
    """
    _add_up(lines, rows, down, line[:-1])
    for i in range(np.uintp(len(places))):
        _copy(line, np.uintp(places[i]), apart, np.uintp(3) * i)
    _add_up(apart, starts, across, to)


@compiled
def _copy(source: Singles, of: np.uintp, to: Singles, at: np.uintp) -> None:  # pragma: no cover - compiled
    one, two, three = np.uintp(1), np.uintp(2), np.uintp(3)
    red, green = np.float32(source[of]), np.float32(source[of + one])
    blue, more = np.float32(source[of + two]), np.float32(source[of + three])
    to[at], to[at + one], to[at + two], to[at + three] = red, green, blue, more


@compiled
def _add_up(source: Singles, starts: Ints, weights: Singles, to: Singles) -> None:  # pragma: no cover - compiled
    """Fill ``to`` with the sum of what begins at each of 2 REACH + 1 places, times the weights of their distances."""
    s = starts
    m0, a0, a1, b0, b1 = source[s[8] :], source[s[7] :], source[s[9] :], source[s[6] :], source[s[10] :]
    c0, c1, d0, d1 = source[s[5] :], source[s[11] :], source[s[4] :], source[s[12] :]
    e0, e1, f0, f1 = source[s[3] :], source[s[13] :], source[s[2] :], source[s[14] :]
    g0, g1, h0, h1 = source[s[1] :], source[s[15] :], source[s[0] :], source[s[16] :]
    m, a, b = np.float32(weights[0]), np.float32(weights[1]), np.float32(weights[2])
    c, d, e = np.float32(weights[3]), np.float32(weights[4]), np.float32(weights[5])
    f, g, h = np.float32(weights[6]), np.float32(weights[7]), np.float32(weights[8])
    for i in range(len(to)):
        near = a * (a0[i] + a1[i]) + b * (b0[i] + b1[i]) + c * (c0[i] + c1[i]) + d * (d0[i] + d1[i])
        far = e * (e0[i] + e1[i]) + f * (f0[i] + f1[i]) + g * (g0[i] + g1[i]) + h * (h0[i] + h1[i])
        to[i] = m * m0[i] + near + far
