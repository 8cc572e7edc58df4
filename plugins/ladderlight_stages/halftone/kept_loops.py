"""Error diffusion around given codes: those that a frame of an animation keeps of the frames before.

A kept code passes on the rest of the picture's light, as any other does, so that newly dithered areas join it without a
seam. But it was chosen for other errors than those that reach it now, and over a large area these would add up; its
error is therefore limited to that of the nearest level or colour. Otherwise as in ``lattice_loops`` and
``palette_loops``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.halftone.error_rows import (
    RUN_IN,
    RUN_OUT,
    add_error_rows,
    balance_of,
    load_errors,
    mirror_ends,
    settle,
    source_row,
    waiting_light,
)
from ladderlight_stages.halftone.palette_loops import BIN_BITS, LIST, SHARE_BITS, UNITS, _search


@compiled
def diffuse_lattice_kept(
    pixels: Singles,
    units: int,
    limits: Singles,
    shift: int,
    levels: NDArray[np.int32],
    codes: Codes,
    ahead: NDArray[np.int32],
    below: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    spread: NDArray[np.int32],
    kept: NDArray[np.int32],
    light: NDArray[np.int32],
    most: NDArray[np.int32],
) -> Codes:
    """Reduce a picture for a board whose guns are independent.

    Parameters
    ----------
    pixels, units, limits, shift, levels, codes, ahead, below, serpentine, spread
        As for ``lattice_loops.diffuse_lattice``.
    kept
        int32 (height, width): the given codes, -1 where there is none.
    light
        int32 (codes, 3): the light of each code, in units above the first bin's lower end.
    most
        int32 (3,): by gun, the largest error that a kept code passes on.

    Returns
    -------
    uint16 (height, width), codes.
    """
    height, width, _ = pixels.shape
    result = np.empty((height, width), np.uint16)
    pad, depth = 0, 1
    for tap in range(len(below)):
        pad = max(pad, abs(below[tap, 1]))
        depth = max(depth, below[tap, 0])
    count = width * 3
    errors = np.zeros((depth + 1, count + 6 * pad), np.int32)
    base, last, second = np.empty(count, np.int32), np.zeros(3, np.int32), np.zeros(3, np.int32)
    scale, rounding = np.float32(units), np.int32(1 << (SHARE_BITS - 1))
    balance, lowest, highest = balance_of(width), np.empty(3, np.int32), np.empty(3, np.int32)
    for gun in range(3):
        start, low, high = limits[gun, 2], limits[gun, 0], limits[gun, 1]
        lowest[gun] = (np.int32((low - start) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
        highest[gun] = (np.int32((high - start) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
    for y in range(-RUN_IN, height):
        row = source_row(y, height)
        for i in range(count):
            gun = i % 3
            value = max(min(pixels[row, i // 3, gun], limits[gun, 1]), limits[gun, 0])
            base[i] = (np.int32((value - limits[gun, 2]) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
        if y == 0 or y >= height - RUN_OUT:
            waiting = waiting_light(errors, count, below, y)
            settle(base, waiting, balance, height - y if y else 0, lowest, highest)
        add_error_rows(base, errors, below, y, serpentine)
        here = errors[y % (depth + 1), 3 * pad : 3 * pad + count]
        backward = serpentine and y % 2 == 1
        above = errors[(y - 1) % (depth + 1), 3 * pad : 3 * pad + count]
        first, next_ = (width - 1, max(width - 2, 0)) if backward else (0, min(1, width - 1))
        last[:], second[:] = above[3 * first : 3 * first + 3], above[3 * next_ : 3 * next_ + 3]
        for step in range(width):
            x = width - 1 - step if backward else step
            code, own = kept[y, x] if y >= 0 else np.int32(-1), np.uint16(0)
            for gun in range(3):
                wanted = (base[3 * x + gun] + ahead[0] * last[gun] + ahead[1] * second[gun]) >> SHARE_BITS
                if code < 0:
                    found = np.uintp(wanted) >> np.uintp(shift)
                    error = np.int32(wanted - levels[gun, found])
                    own += codes[gun, found]
                else:
                    error = np.int32(max(min(wanted - light[code, gun], most[gun]), -most[gun]))
                second[gun], last[gun] = last[gun], error
                here[3 * x + gun] = error
            result[row, x] = own if code < 0 else np.uint16(code)
        mirror_ends(errors[y % (depth + 1)], pad)
        if y == -RUN_IN:
            load_errors(errors, errors[y % (depth + 1)], spread)
    return result


@compiled
def diffuse_palette_kept(
    pixels: Singles,
    transform: Singles,
    start: Singles,
    bottom: NDArray[np.int32],
    top: NDArray[np.int32],
    bins: Codes,
    colours: NDArray[np.int32],
    codes: Codes,
    cells: Codes,
    lists: NDArray[np.int32],
    ahead: NDArray[np.int32],
    below: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    spread: NDArray[np.int32],
    kept: NDArray[np.int32],
    most: NDArray[np.int32],
) -> Codes:
    """Reduce a picture for any set of colours.

    Parameters
    ----------
    pixels, transform, start, bottom, top, bins, colours, codes, cells, lists, ahead, below, serpentine, spread
        As for ``palette_loops.diffuse_palette``.
    kept
        int32 (height, width): the places of the given ones among ``colours``, -1 where there is none.
    most
        int32 (3,): by gun, the largest error that a kept colour passes on.

    Returns
    -------
    uint16 (height, width), codes.
    """
    height, width, _ = pixels.shape
    result = np.empty((height, width), np.uint16)
    pad, depth = 0, 1
    for tap in range(len(below)):
        pad = max(pad, abs(below[tap, 1]))
        depth = max(depth, below[tap, 0])
    count = width * 3
    errors = np.zeros((depth + 1, count + 6 * pad), np.int32)
    base, last, second = np.empty(count, np.int32), np.zeros(3, np.int32), np.zeros(3, np.int32)
    level = np.zeros(3, np.int32)
    scale, rounding, bits = np.float32(UNITS), np.int32(1 << (SHARE_BITS - 1)), np.uintp(BIN_BITS)
    balance, lowest, highest = balance_of(width), (bottom << SHARE_BITS) + rounding, (top << SHARE_BITS) + rounding
    for y in range(-RUN_IN, height):
        row = source_row(y, height)
        for i in range(count):
            gun = i % 3
            high = start[gun] + np.float32(top[gun] - bottom[gun]) / scale
            value = max(min(pixels[row, i // 3, gun], high), start[gun])
            units = bottom[gun] + np.int32((value - start[gun]) * scale + np.float32(0.5))
            base[i] = (units << SHARE_BITS) + rounding
        if y == 0 or y >= height - RUN_OUT:
            waiting = waiting_light(errors, count, below, y)
            settle(base, waiting, balance, height - y if y else 0, lowest, highest)
        add_error_rows(base, errors, below, y, serpentine)
        here = errors[y % (depth + 1), 3 * pad : 3 * pad + count]
        backward = serpentine and y % 2 == 1
        above = errors[(y - 1) % (depth + 1), 3 * pad : 3 * pad + count]
        first, next_ = (width - 1, max(width - 2, 0)) if backward else (0, min(1, width - 1))
        last[:], second[:] = above[3 * first : 3 * first + 3], above[3 * next_ : 3 * next_ + 3]
        for step in range(width):
            x = width - 1 - step if backward else step
            code, cell = kept[y, x] if y >= 0 else np.int32(-1), np.uintp(0)
            for gun in range(3):
                wanted = (base[3 * x + gun] + ahead[0] * last[gun] + ahead[1] * second[gun]) >> SHARE_BITS
                level[gun] = max(min(wanted, top[gun]), bottom[gun])
                cell += np.uintp(bins[gun, np.uintp(level[gun]) >> bits])
            best = np.uintp(max(code, 0))
            if code < 0:
                best = np.uintp(cells[cell])
                if best == np.uintp(LIST):
                    best = _search(level[0], level[1], level[2], transform, colours, lists, cell)
            for gun in range(3):
                error = np.int32(level[gun] - colours[best, gun])
                if code >= 0:
                    error = np.int32(max(min(error, most[gun]), -most[gun]))
                second[gun], last[gun] = last[gun], error
                here[3 * x + gun] = error
            result[row, x] = codes[best]
        mirror_ends(errors[y % (depth + 1)], pad)
        if y == -RUN_IN:
            load_errors(errors, errors[y % (depth + 1)], spread)
    return result
