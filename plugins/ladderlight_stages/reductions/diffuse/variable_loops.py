"""Error diffusion with coefficients that depend on the picture: three taps, ahead, down and behind, down.

Light is counted in whole units, and errors are gathered, as in ``lattice_loops``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.halftone.error_rows import RUN_IN, RUN_OUT, balance_of, loaded, mirror_ends, settle, source_row
from ladderlight_stages.halftone.lattice_loops import SHARE_BITS
from ladderlight_stages.halftone.palette_loops import BIN_BITS, LIST, _search
from ladderlight_stages.halftone.palette_loops import UNITS as PALETTE_UNITS

MOST = (1 << 31) - 1
"""No limit: the errors that a row receives have no bound."""
NOISE_BITS = 7
"""A random number of 0 to 127 moves the threshold. It is the same for all guns, so that grey stays grey."""


@compiled
def diffuse_variable(
    pixels: Singles,
    units: int,
    limits: Singles,
    shift: int,
    levels: NDArray[np.int32],
    codes: Codes,
    shares: NDArray[np.int32],
    noise: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    spread: NDArray[np.int32],
) -> Codes:
    """Reduce a picture for a board whose guns are independent.

    Parameters
    ----------
    pixels, units, limits, shift, levels, codes
        As for ``lattice_loops.diffuse_lattice``.
    shares
        int32 (3, bins, 3): by gun and bin of the picture's light, the shares ahead, down and behind, down.
    noise
        int32 (3, bins): the most units by which the threshold moves up.
    serpentine
        Whether every other row is scanned backwards.
    spread
        int32 (3,): by gun, half its largest step; see ``error_rows.loaded``.

    Returns
    -------
    uint16 (height, width), codes.
    """
    height, width, _ = pixels.shape
    result = np.empty((height, width), np.uint16)
    down, behind = np.zeros((width + 2, 3), np.int32), np.zeros((width + 2, 3), np.int32)
    passed = np.zeros((width, 3), np.int32)
    carry, first = np.zeros(3, np.int32), np.zeros(3, np.int32)
    scale, bits = np.float32(units), np.uintp(shift)
    # Where coefficients change from pixel to pixel, one may receive more than the mean of its neighbours' errors
    # together, so the sum has no bound: light beyond the tables is clipped.
    top = (levels.shape[1] << shift) - 1
    balance, most = balance_of(width), np.full(3, MOST, np.int32)
    for y in range(-RUN_IN, height):
        row = source_row(y, height)
        way = -1 if serpentine and y % 2 == 1 else 1
        before = -way if serpentine else 1
        for x in range(width):
            for gun in range(3):
                passed[x, gun] = (1 << (SHARE_BITS - 1)) + down[x + 1, gun] + behind[x + 1 + before, gun]
        if y == 0 or y >= height - RUN_OUT:
            waiting = (down + behind)[1:-1].reshape(-1).astype(np.int64)
            settle(passed.reshape(-1), waiting, balance, height - y if y else 0, -most, most)
        if not serpentine:
            carry[:] = first
        state = np.uint32((y + 1) * 2654435761 & 0xFFFFFFFF)
        x = 0 if way > 0 else width - 1
        for _ in range(width):
            state = np.uint32(state * np.uint32(1664525) + np.uint32(1013904223))
            random = np.int64(state >> np.uint32(25))
            code = np.uint16(0)
            for gun in range(3):
                value: np.float32 = pixels[row, x, gun]
                value = value if value > limits[gun, 0] else limits[gun, 0]
                value = value if value < limits[gun, 1] else limits[gun, 1]
                light = np.int32((value - limits[gun, 2]) * scale + np.float32(0.5))
                of = np.uintp(light) >> bits
                level: int = min(max(light + ((passed[x, gun] + carry[gun]) >> SHARE_BITS), 0), top)
                taken = np.uintp(max(level - ((random * noise[gun, of]) >> NOISE_BITS), 0)) >> bits
                error = np.int32(level - levels[gun, taken])
                if y == -RUN_IN:
                    error = loaded(error, spread[gun], state)
                carry[gun] = shares[gun, of, 0] * error
                behind[x + 1, gun] = shares[gun, of, 1] * error
                down[x + 1, gun] = shares[gun, of, 2] * error
                if x == 0:
                    first[gun] = carry[gun]
                code += codes[gun, taken]
            result[row, x] = code
            x += way
        mirror_ends(behind.reshape(-1), 1)
    return result


@compiled
def diffuse_variable_palette(
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
    shares: NDArray[np.int32],
    noise: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    spread: NDArray[np.int32],
) -> Codes:
    """Reduce a picture for any set of colours.

    Parameters
    ----------
    pixels, transform, start, bottom, top, bins, colours, codes, cells, lists
        As for ``palette_loops.diffuse_palette``.
    shares
        int32 (3, steps, 3): by gun and its light, full light divided into so many steps, the shares ahead, down and
        behind, down.
    noise
        int32 (3, steps): the most units by which the searched colour is darker.
    serpentine
        Whether every other row is scanned backwards.
    spread
        int32 (3,): by gun, half its largest step; see ``error_rows.loaded``.

    Returns
    -------
    uint16 (height, width), codes.
    """
    height, width, _ = pixels.shape
    result = np.empty((height, width), np.uint16)
    down, behind = np.zeros((width + 2, 3), np.int32), np.zeros((width + 2, 3), np.int32)
    passed = np.zeros((width, 3), np.int32)
    carry, first = np.zeros(3, np.int32), np.zeros(3, np.int32)
    level, sought = np.zeros(3, np.int32), np.zeros(3, np.int32)
    place = np.zeros(3, np.uintp)
    finest = np.float32(shares.shape[1] - 1)
    scale, bits = np.float32(PALETTE_UNITS), np.uintp(BIN_BITS)
    balance, most = balance_of(width), np.full(3, MOST, np.int32)
    for y in range(-RUN_IN, height):
        row = source_row(y, height)
        way = -1 if serpentine and y % 2 == 1 else 1
        before = -way if serpentine else 1
        for x in range(width):
            for gun in range(3):
                passed[x, gun] = (1 << (SHARE_BITS - 1)) + down[x + 1, gun] + behind[x + 1 + before, gun]
        if y == 0 or y >= height - RUN_OUT:
            waiting = (down + behind)[1:-1].reshape(-1).astype(np.int64)
            settle(passed.reshape(-1), waiting, balance, height - y if y else 0, -most, most)
        if not serpentine:
            carry[:] = first
        state = np.uint32((y + 1) * 2654435761 & 0xFFFFFFFF)
        x = 0 if way > 0 else width - 1
        for _ in range(width):
            state = np.uint32(state * np.uint32(1664525) + np.uint32(1013904223))
            random = np.int64(state >> np.uint32(25))
            cell = np.uintp(0)
            for gun in range(3):
                value: np.float32 = max(min(pixels[row, x, gun], np.float32(2)), np.float32(-1))
                light: np.int32 = bottom[gun] + np.int32((value - start[gun]) * scale + np.float32(0.5))
                level[gun] = max(
                    min(light + ((passed[x, gun] + carry[gun]) >> SHARE_BITS), top[gun]),
                    bottom[gun],
                )
                of = np.uintp(max(min(pixels[row, x, gun], np.float32(1)), np.float32(0)) * finest + np.float32(0.5))
                place[gun] = of
                sought[gun] = max(level[gun] - np.int32((random * noise[gun, of]) >> NOISE_BITS), bottom[gun])
                cell += np.uintp(bins[gun, np.uintp(sought[gun]) >> bits])
            best = np.uintp(cells[cell])
            if best == np.uintp(LIST):
                best = _search(sought[0], sought[1], sought[2], transform, colours, lists, cell)
            for gun in range(3):
                of = place[gun]
                error = np.int32(level[gun] - colours[best, gun])
                if y == -RUN_IN:
                    error = loaded(error, spread[gun], state)
                carry[gun] = shares[gun, of, 0] * error
                behind[x + 1, gun] = shares[gun, of, 1] * error
                down[x + 1, gun] = shares[gun, of, 2] * error
                if x == 0:
                    first[gun] = carry[gun]
            result[row, x] = codes[best]
            x += way
        mirror_ends(behind.reshape(-1), 1)
    return result
