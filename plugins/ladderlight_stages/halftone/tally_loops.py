"""Counts over a picture and its codes, compiled, so that they cost little beside the reduction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Bytes, Codes, Singles
from ladderlight_stages.compiled import compiled

if TYPE_CHECKING:
    from ladderlight_stages.perception.reach import ReachCells

_MARKS = 64
"""Codes that can be marked by the bits of one number, which stays in the processor."""


@compiled
def count_colours(codes: Codes, places: NDArray[np.int32]) -> int:
    """Count the colours that are used; ``places``, int32 (codes,), is a number for each code, one for each colour."""
    used, seen = np.zeros(len(places), np.bool_), np.zeros(len(places), np.bool_)
    flat, whole = codes.reshape(-1), 0
    if len(places) <= _MARKS:  # four codes are read at a time
        whole = len(flat) - len(flat) % 4
        fours, one, bits = flat[:whole].view(np.uint64), np.uint64(1), np.uint64(_MARKS - 1)
        even, odd = np.uint64(0), np.uint64(0)
        for i in range(len(fours)):
            four = np.uint64(fours[i])
            even |= one << (four & bits) | one << (four >> np.uint64(32) & bits)
            odd |= one << (four >> np.uint64(16) & bits) | one << (four >> np.uint64(48) & bits)
        for code in range(len(places)):
            used[code] = (even | odd) >> np.uint64(code) & one
    for code in flat[whole:]:
        used[code] = True
    for number in range(len(places)):
        seen[places[number]] |= used[number]
    return int(seen.sum())


@compiled
def count_beyond(pixels: Singles, low: Singles, high: Singles) -> int:
    """Count the pixels with a gun below ``low`` or above ``high``, both (3,)."""
    flat, beyond = pixels.reshape(-1), np.int32(0)
    low0, low1, low2 = np.float32(low[0]), np.float32(low[1]), np.float32(low[2])
    high0, high1, high2 = np.float32(high[0]), np.float32(high[1]), np.float32(high[2])
    for i in range(len(flat) // 3):  # without branches and with numbers of one size, so that many are taken at a time
        red, green, blue = np.float32(flat[3 * i]), np.float32(flat[3 * i + 1]), np.float32(flat[3 * i + 2])
        out = (red < low0) | (red > high0) | (green < low1) | (green > high1) | (blue < low2) | (blue > high2)
        beyond += np.int32(out)
    return int(beyond)


@compiled
def count_pixels(out: Bytes) -> int:
    """Count the pixels of which any of three samples is 1; uint8 (3 * width,)."""
    count = 0
    for x in range(len(out) // 3):
        count += out[3 * x] | out[3 * x + 1] | out[3 * x + 2]
    return count


@compiled
def count_beyond_light(pixels: Singles, weights: Singles, low: float, high: float) -> int:
    """Count the pixels whose luminance, by the guns' ``weights``, (3,), lies below ``low`` or above ``high``."""
    flat = pixels.reshape(-1, 3)
    red, green, blue = np.float32(weights[0]), np.float32(weights[1]), np.float32(weights[2])
    beyond = 0
    for i in range(len(flat)):
        light: np.float32 = red * flat[i, 0] + green * flat[i, 1] + blue * flat[i, 2]
        beyond += int((light < low) | (light > high))
    return beyond


@compiled
def count_outside(pixels: Singles, step: int, cells: int, margin: float, reach: ReachCells, half_steps: Singles) -> int:
    """Count the pixels outside a hull that cuts the cube of all light by more than rounding.

    One row of every ``step`` is looked at, from the first on. ``half_steps`` are those of ``luminance.half_steps``; as
    much as ``margin`` is in the faces already.
    """
    height, width, _ = pixels.shape
    rows = pixels.reshape(height, 3 * width)
    states, faces, followed = reach
    beneath, top = np.float32(margin), np.float32(cells + 1)
    scale = np.float32(cells / (1 + 2 * margin))
    none, one = np.float32(0), np.float32(1)
    across = np.int32(cells + 2)
    weights = np.empty(3 * width, np.int32)
    for x in range(width):
        weights[3 * x], weights[3 * x + 1], weights[3 * x + 2] = across * across, across, 1
    place = np.empty(3 * width, np.int32)
    outside = 0
    for y in range(0, height, step):
        row = rows[y]
        for i in range(3 * width):  # a loop of its own: the compiler takes many samples at a time
            at: np.float32 = (row[i] + beneath) * scale + one
            at = at if at > none else none
            place[i] = np.int32(at if at < top else top) * weights[i]
        for x in range(np.uintp(width)):
            red = x * np.uintp(3)
            green, blue = red + np.uintp(1), red + np.uintp(2)
            state = np.uintp(states[np.uintp(np.uint32(place[red] + place[green] + place[blue]))])
            if state:  # most cells lie inside
                face = state >> np.uintp(1)
                n: Singles = faces[face]
                out: bool = n[0] * row[red] + n[1] * row[green] + n[2] * row[blue] > n[3]
                if state & np.uintp(1):
                    more = face
                    while followed[more]:
                        more += np.uintp(1)
                        n = faces[more]
                        out |= n[0] * row[red] + n[1] * row[green] + n[2] * row[blue] > n[3]
                if out and _is_past_rounding(row[red], row[green], row[blue], reach, face, half_steps, margin):
                    outside += 1
    return outside


@compiled
def _is_past_rounding(
    red: float, green: float, blue: float, reach: ReachCells, first: np.uintp, half_steps: Singles, margin: float
) -> bool:
    """Whether light lies further outside one of a list of faces than the nearest 8-bit values of light inside."""
    finest = len(half_steps) - 1
    r: np.float32 = half_steps[min(int(max(red, 0) * finest) + 1, finest)]
    g: np.float32 = half_steps[min(int(max(green, 0) * finest) + 1, finest)]
    b: np.float32 = half_steps[min(int(max(blue, 0) * finest) + 1, finest)]
    number, more = np.uintp(first), True
    while more:
        n: Singles = reach.faces[number]
        x: np.float32 = n[0]
        y: np.float32 = n[1]
        z: np.float32 = n[2]
        past: np.float32 = x * red + y * green + z * blue - n[3]
        if past > 0 and past + margin > abs(x) * r + abs(y) * g + abs(z) * b:
            return True
        more = reach.followed[number]
        number += np.uintp(1)
    return False
