"""Error diffusion with coefficients that depend on the picture: three taps, ahead, down and behind, down.

Light is counted in whole units, and errors are gathered, as in ``diffusion_loops``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.halftone.diffusion_loops import SHARE_BITS, UNITS, LatticeTables
from ladderlight_stages.halftone.error_rows import RUN_IN, RUN_OUT, balance_of, loaded, mirror_ends, settle, source_row
from ladderlight_stages.halftone.palette_loops import BIN_BITS, LIST, PaletteTables, search
from ladderlight_stages.halftone.palette_loops import UNITS as PALETTE_UNITS

MOST = (1 << 31) - 1
"""No limit: the errors that a row receives have no bound."""
NOISE_BITS = 7
"""A random number of 0 to 127 moves the threshold. It is the same for all guns, so that grey stays grey."""


@compiled
def diffuse_variable(
    pixels: Singles,
    lattice: LatticeTables | None,
    palette: PaletteTables | None,
    shares: NDArray[np.int32],
    noise: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    spread: NDArray[np.int32],
) -> Codes:
    """Reduce a picture.

    Parameters
    ----------
    pixels
        float32 (height, width, 3), linear light.
    lattice, palette
        The levels of the guns where these are independent, else the board's colours; None for the other. The compiler
        leaves out what is done for that one.
    shares
        int32 (3, steps, 3): by gun and its light, the shares ahead, down and behind, down. Steps are the bins of the
        lattice, or full light divided into so many.
    noise
        int32 (3, steps): the most units by which the threshold moves up, or the searched colour is darker.
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
    level, taken, place = np.zeros(3, np.int32), np.zeros(3, np.int32), np.zeros(3, np.uintp)
    finest = np.float32(shares.shape[1] - 1)
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
            if lattice is not None:
                limits, levels, bits = lattice.limits, lattice.levels, np.uintp(lattice.shift)
                # Where coefficients change from pixel to pixel, one may receive more than the mean of its neighbours'
                # errors together, so the sum has no bound: light beyond the tables is clipped.
                top = (levels.shape[1] << lattice.shift) - 1
                code = np.uint16(0)
                for gun in range(3):
                    value: np.float32 = pixels[row, x, gun]
                    value = value if value > limits[gun, 0] else limits[gun, 0]
                    value = value if value < limits[gun, 1] else limits[gun, 1]
                    light = np.int32((value - limits[gun, 2]) * np.float32(UNITS) + np.float32(0.5))
                    of = np.uintp(light) >> bits
                    level[gun] = min(max(light + ((passed[x, gun] + carry[gun]) >> SHARE_BITS), 0), top)
                    bin_ = np.uintp(max(level[gun] - ((random * noise[gun, of]) >> NOISE_BITS), 0)) >> bits
                    place[gun], taken[gun] = of, levels[gun, bin_]
                    code += lattice.codes[gun, bin_]
                result[row, x] = code
            if palette is not None:
                low, high, scale, cell = palette.bottom, palette.top, np.float32(PALETTE_UNITS), np.uintp(0)
                for gun in range(3):
                    value = max(min(pixels[row, x, gun], np.float32(2)), np.float32(-1))
                    light = low[gun] + np.int32((value - palette.start[gun]) * scale + np.float32(0.5))
                    level[gun] = max(min(light + ((passed[x, gun] + carry[gun]) >> SHARE_BITS), high[gun]), low[gun])
                    of = np.uintp(max(min(value, np.float32(1)), np.float32(0)) * finest + np.float32(0.5))
                    place[gun] = of
                    taken[gun] = max(level[gun] - np.int32((random * noise[gun, of]) >> NOISE_BITS), low[gun])
                    cell += np.uintp(palette.bins[gun, np.uintp(taken[gun]) >> np.uintp(BIN_BITS)])
                best = np.uintp(palette.cells[cell])
                if best == np.uintp(LIST):
                    best = search(taken[0], taken[1], taken[2], palette, cell)
                for gun in range(3):
                    taken[gun] = palette.colours[best, gun]
                result[row, x] = palette.codes[best]
            for gun in range(3):
                error = np.int32(level[gun] - taken[gun])
                if y == -RUN_IN:
                    error = loaded(error, spread[gun], state)
                of = place[gun]
                carry[gun] = shares[gun, of, 0] * error
                behind[x + 1, gun] = shares[gun, of, 1] * error
                down[x + 1, gun] = shares[gun, of, 2] * error
                if x == 0:
                    first[gun] = carry[gun]
            x += way
        mirror_ends(behind.reshape(-1), 1)
    return result
