"""Loops over any set of colours other than diffusion: mixing by threshold, and following a curve."""

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Codes, Floats, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.halftone.palette_loops import BIN_BITS, LIST, UNITS, PaletteTables, search


@compiled
def mix(
    pixels: Singles,
    thresholds: Singles,
    tables: PaletteTables,
    brightness: NDArray[np.int32],
    steps: int,
    strength: float,
) -> Codes:
    """Mix each pixel's light from as many colours as ``steps``, and take the one at its threshold.

    ``pixels`` are linear light, float32 (height, width, 3), ``thresholds`` float32 (height, width), 0 to 1.
    ``brightness``, int32 (colours,), is the order of the colours from dark to light; ``strength`` the share of the
    error that a step passes to the next.
    """
    _, start, bottom, top, bins, colours, codes, cells, _ = tables
    height, width, _ = pixels.shape
    result = np.empty((height, width), np.uint16)
    mixture = np.empty(steps, np.int64)
    level, owed = np.empty(3, np.int32), np.empty(3)
    bits = np.uintp(BIN_BITS)
    for y in range(height):
        for x in range(width):
            owed[:] = 0.0
            for step in range(steps):
                cell = np.uintp(0)
                for gun in range(3):
                    value: np.float32 = max(min(pixels[y, x, gun], np.float32(2)), np.float32(-1))
                    wanted = (value - start[gun]) * np.float32(UNITS) + np.float32(0.5) + strength * owed[gun]
                    level[gun] = bottom[gun] + np.int32(max(min(wanted, top[gun] - bottom[gun]), 0))
                    cell += np.uintp(bins[gun, np.uintp(level[gun]) >> bits])
                best = np.uintp(cells[cell])
                if best == np.uintp(LIST):
                    best = search(level[0], level[1], level[2], tables, cell)
                for gun in range(3):
                    owed[gun] = level[gun] - colours[best, gun]
                rank, place = brightness[best] * len(codes) + np.int64(best), step
                while place and mixture[place - 1] > rank:
                    mixture[place] = mixture[place - 1]
                    place -= 1
                mixture[place] = rank
            taken = min(int(thresholds[y, x] * steps), steps - 1)
            result[y, x] = codes[mixture[steps - 1 - taken] % len(codes)]
    return result


@compiled
def follow(
    pixels: Singles,
    path: NDArray[np.int32],
    weights: Floats,
    tables: PaletteTables,
) -> Codes:
    """Diffuse along a curve: a weighted mean of the last errors is added to each pixel.

    ``pixels`` are linear light, float32 (height, width, 3); ``path``, int32 (pixels,), is the curve, as indices into
    the flattened picture; ``weights``, float64 (errors,), are those of the last error, the one before, and so on.
    """
    _, start, bottom, top, bins, colours, codes, cells, _ = tables
    height, width, _ = pixels.shape
    flat = pixels.reshape(height * width, 3)
    result = np.empty(height * width, np.uint16)
    count = len(weights)
    errors = np.zeros((count, 3))
    level = np.empty(3, np.int32)
    bits = np.uintp(BIN_BITS)
    for n in range(len(path)):
        cell = np.uintp(0)
        for gun in range(3):
            value: np.float32 = max(min(flat[path[n], gun], np.float32(2)), np.float32(-1))
            wanted = float((value - start[gun]) * np.float32(UNITS) + np.float32(0.5))
            for k in range(count):
                wanted += weights[k] * errors[(n - 1 - k) % count, gun]
            level[gun] = bottom[gun] + np.int32(max(min(wanted, top[gun] - bottom[gun]), 0))
            cell += np.uintp(bins[gun, np.uintp(level[gun]) >> bits])
        best = np.uintp(cells[cell])
        if best == np.uintp(LIST):
            best = search(level[0], level[1], level[2], tables, cell)
        for gun in range(3):
            errors[n % count, gun] = level[gun] - colours[best, gun]
        result[path[n]] = codes[best]
    return result.reshape(height, width)
