"""Error diffusion: each gun goes to the nearest of its own levels, or the three together to the nearest colour.

Light is counted in whole units, so that the result is the same on every machine. Errors are gathered rather than
spread: the errors of the rows above are a sum that the processor computes for many pixels at a time; only
the errors of the pixels just before are sequential, and they are kept in registers.

A frame of an animation may be given codes that it keeps of the frames before. Such a code passes on the rest of the
picture's light, as any other does, so that newly dithered areas join it without a seam. But it was chosen for other
errors than those that reach it now, and over a large area these would add up, so its error is limited.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.halftone.error_rows import (
    RUN_IN,
    RUN_OUT,
    add_error_rows,
    balance_of,
    limited,
    load_errors,
    mirror_ends,
    settle,
    source_row,
    waiting_light,
)
from ladderlight_stages.halftone.palette_loops import BIN_BITS, LIST, PaletteTables, search
from ladderlight_stages.halftone.palette_loops import UNITS as PALETTE_UNITS
from ladderlight_stages.halftone.tally_loops import count_pixels

UNITS = 1 << 18
"""Full light in whole units: the darkest step of 8-bit sRGB is 80 of them."""
SHARE_BITS = 11
"""Shares of the error are in units of 2**-11, so that units of light times shares fit 32 bits."""
_BLOCK = 192  # samples whose limits, which differ by gun, are at hand in the processor's first cache


class LatticeTables(NamedTuple):
    """The levels of a board's guns for the loops, see ``lattice_tables``; on a grey board the first is luminance."""

    limits: Singles
    """float32 (3, 5): by gun the lowest level, the highest level, the light of the first bin's lower end, and the light
    below and above which it is clipped."""
    shift: int
    """A bin is 2**shift units wide."""
    levels: NDArray[np.int32]
    """int32 (3, bins): the light, in units above the first bin's lower end, of the level that is nearest to a bin."""
    codes: Codes
    """uint16 (3, bins): the code bits of that level."""
    joined: NDArray[np.uint64]
    """uint64 (3 * bins,): both in one table, gun after gun: the code bits times 2**32, plus the light of the level and
    the width of all bins of the guns before."""
    light: NDArray[np.int32]
    """int32 (codes, 3): the light of each code, as in ``joined``."""
    half_steps: NDArray[np.int32]
    """int32 (3,): by gun, half its largest step from level to level; no kept code passes on a larger error."""


@compiled
def diffuse_errors(
    pixels: Singles,
    lattice: LatticeTables | None,
    palette: PaletteTables | None,
    ahead: int,
    further: int | None,
    below: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    spread: NDArray[np.int32],
    kept: NDArray[np.int32] | None,
    furthest: NDArray[np.int32],
) -> tuple[Codes, int]:
    """Reduce a picture.

    Returns uint16 (height, width), codes; and, of a lattice, the number of pixels with a gun beyond its levels:
    counting them in a pass of its own would take a fifth of the time. The compiler leaves out what is done for what is
    None.

    Parameters
    ----------
    pixels
        float32 (height, width, 3), linear light.
    lattice, palette
        The levels of the guns where these are independent, else the board's colours; None for the other.
    ahead, further
        The shares of the error for the next pixel and the one after; None for none.
    below
        int32 (taps, 3): rows down, pixels ahead and share, for the rows below; see ``add_error_rows``.
    serpentine
        Whether every other row is scanned backwards.
    spread
        int32 (3,): by gun, half its largest step; see ``load_errors``.
    kept
        int32 (height, width): the given codes, or the places of the given ones among the palette's colours, -1 where
        there is none; or None.
    furthest
        int32 (3,): by gun, the largest error that a kept code passes on.
    """
    height, width, _ = pixels.shape
    flat, count = pixels.reshape(height, width * 3), width * 3
    result = np.empty((height, width), np.uint16)
    pad, depth = 0, 1
    for tap in range(len(below)):
        pad = max(pad, abs(below[tap, 1]))
        depth = max(depth, below[tap, 0])
    # between two rows that are never used: the loop looks one pixel ahead, past the end of a row
    errors = np.zeros((depth + 3, count + 6 * pad), np.int32)[1:-1]
    clipped, out_of_reach = 0, np.empty(_BLOCK, np.uint8)
    low, high, start = np.empty(_BLOCK, np.float32), np.empty(_BLOCK, np.float32), np.empty(_BLOCK, np.float32)
    least, most, offset = np.empty(_BLOCK, np.float32), np.empty(_BLOCK, np.float32), np.empty(_BLOCK, np.int32)
    a1, a2 = np.int32(ahead), np.int32(0 if further is None else further)
    one, two, fraction = np.uintp(1), np.uintp(2), np.uint64(SHARE_BITS)
    rounding = np.int32(1 << (SHARE_BITS - 1))
    balance, lowest, highest = balance_of(width), np.empty(3, np.uint32), np.empty(3, np.uint32)
    if lattice is not None:
        limits, joined = lattice.limits, lattice.joined
        scale, bits = np.float32(UNITS), np.uint64(lattice.shift + SHARE_BITS)
        span = lattice.levels.shape[1] << lattice.shift
        light = lattice.light
        for i in range(_BLOCK):
            gun = i % 3
            low[i], high[i], start[i] = limits[gun, 0], limits[gun, 1], limits[gun, 2]
            least[i], most[i], offset[i] = limits[gun, 3], limits[gun, 4], rounding + (gun * span << SHARE_BITS)
        for gun in range(3):
            lowest[gun] = (np.int32((low[gun] - start[gun]) * scale + np.float32(0.5)) << SHARE_BITS) + offset[gun]
            highest[gun] = (np.int32((high[gun] - start[gun]) * scale + np.float32(0.5)) << SHARE_BITS) + offset[gun]
        taken = np.empty(len(joined), np.int32)
        for place in range(len(joined)):
            taken[place] = a1 * np.int32(joined[place])
    if palette is not None:
        _, _, bottom, top, bins, light, codes, cells, _ = palette
        scale, bits = np.float32(PALETTE_UNITS), np.uint64(BIN_BITS + SHARE_BITS)
        top0, top1, top2 = np.int32(top[0]), np.int32(top[1]), np.int32(top[2])
        bottom0, bottom1, bottom2 = np.int32(bottom[0]), np.int32(bottom[1]), np.int32(bottom[2])
        bins0, bins1, bins2 = bins[0], bins[1], bins[2]
        levels0, levels1, levels2 = light[:, 0].copy(), light[:, 1].copy(), light[:, 2].copy()
        taken0, taken1, taken2 = a1 * levels0, a1 * levels1, a1 * levels2
        for i in range(_BLOCK):
            gun = i % 3
            low[i], start[i], offset[i] = palette.start[gun], palette.start[gun], (bottom[gun] << SHARE_BITS) + rounding
            high[i] = start[i] + np.float32(top[gun] - bottom[gun]) / scale
        for gun in range(3):
            lowest[gun], highest[gun] = (bottom[gun] << SHARE_BITS) + rounding, (top[gun] << SHARE_BITS) + rounding
    for y in range(-RUN_IN, height):
        row = flat[source_row(y, height)]
        here = errors[y % (depth + 1), 3 * pad : 3 * pad + count]  # first the row's light, in its place then its errors
        for first in range(0, count, _BLOCK):
            part, base, beyond = row[first : first + _BLOCK], here[first : first + _BLOCK], np.int32(0)
            for i in range(len(base)):
                value: np.float32 = part[i] if part[i] > low[i] else low[i]
                value = value if value < high[i] else high[i]
                if lattice is not None:
                    beyond = np.int32(beyond + np.int32(value != part[i]))
                base[i] = (np.int32((value - start[i]) * scale + np.float32(0.5)) << SHARE_BITS) + offset[i]
            if beyond and y >= 0:
                for i in range(len(base)):
                    out_of_reach[i] = (part[i] < least[i]) | (part[i] > most[i])
                clipped += count_pixels(out_of_reach[: len(base)])
        if y == 0 or y >= height - RUN_OUT:
            waiting = waiting_light(errors, count, below, y)
            settle(here.view(np.uint32), waiting, balance, height - y if y else 0, lowest, highest)
        add_error_rows(here, errors, below, y, serpentine)
        out = result[max(y, 0)]
        backward = serpentine and y % 2 == 1
        x = np.uintp(width - 1 if backward else 0)
        step, end = np.uintp(-1 if backward else 1), np.uintp(-1 if backward else width)
        # the pixels before the first are mirrored, too: their errors are those of the row above
        last, second = (3 * (width - 1), 3 * max(width - 2, 0)) if backward else (0, 3 * min(1, width - 1))
        above = errors[(y - 1) % (depth + 1), 3 * pad : 3 * pad + count]
        p0, p1, p2 = np.int32(above[last]), np.int32(above[last + 1]), np.int32(above[last + 2])
        w0 = np.uint64(np.uint32(here[last] + a1 * p0 + a2 * above[second]))
        w1 = np.uint64(np.uint32(here[last + 1] + a1 * p1 + a2 * above[second + 1]))
        w2 = np.uint64(np.uint32(here[last + 2] + a1 * p2 + a2 * above[second + 2]))
        while x != end:  # a loop of known length would be unrolled, and its numbers no longer fit the registers
            at = x + x + x
            x += step
            after = x + x + x
            v0, v1, v2 = np.int32(w0 >> fraction), np.int32(w1 >> fraction), np.int32(w2 >> fraction)
            if palette is not None:
                if kept is not None:  # past kept codes errors reach further, so the cell is that of light as clipped
                    v0, v1, v2 = max(min(v0, top0), bottom0), max(min(v1, top1), bottom1), max(min(v2, top2), bottom2)
                    w0, w1, w2 = np.uint64(v0) << fraction, np.uint64(v1) << fraction, np.uint64(v2) << fraction
                cell = np.uintp(bins0[w0 >> bits]) + np.uintp(bins1[w1 >> bits]) + np.uintp(bins2[w2 >> bits])
                v0, v1, v2 = max(min(v0, top0), bottom0), max(min(v1, top1), bottom1), max(min(v2, top2), bottom2)
            # m: the next pixel's light and errors, but for the level taken here: the share of light less that of the
            # level, multiplied out so that the processor can compute it while the level is looked up.
            m0 = np.int32(here[after] + a1 * v0)
            m1 = np.int32(here[after + one] + a1 * v1)
            m2 = np.int32(here[after + two] + a1 * v2)
            if further is not None:
                m0, m1, m2 = np.int32(m0 + a2 * p0), np.int32(m1 + a2 * p1), np.int32(m2 + a2 * p2)
            if lattice is not None:
                k = w0 >> bits
                w0, code = np.uint64(np.uint32(m0 - taken[k])), joined[k]
                p0 = np.int32(v0 - np.int32(joined[k]))
                k = w1 >> bits
                w1, code = np.uint64(np.uint32(m1 - taken[k])), code + joined[k]
                p1 = np.int32(v1 - np.int32(joined[k]))
                k = w2 >> bits
                w2, code = np.uint64(np.uint32(m2 - taken[k])), code + joined[k]
                p2 = np.int32(v2 - np.int32(joined[k]))
                out[x - step] = np.uint16(code >> np.uint64(32))
            if palette is not None:
                best = np.uintp(cells[cell])
                if best == np.uintp(LIST):
                    best = search(v0, v1, v2, palette, cell)
                w0 = np.uint64(np.uint32(m0 - taken0[best]))
                w1 = np.uint64(np.uint32(m1 - taken1[best]))
                w2 = np.uint64(np.uint32(m2 - taken2[best]))
                p0, p1, p2 = np.int32(v0 - levels0[best]), np.int32(v1 - levels1[best]), np.int32(v2 - levels2[best])
                out[x - step] = codes[best]
            if kept is not None:
                given = kept[y, x - step] if y >= 0 else np.int32(-1)
                if given >= 0:
                    e0 = limited(v0 - light[given, 0], furthest[0])
                    e1 = limited(v1 - light[given, 1], furthest[1])
                    e2 = limited(v2 - light[given, 2], furthest[2])
                    w0 = np.uint64(np.uint32(w0 + np.uint64(a1 * (e0 - p0))))
                    w1 = np.uint64(np.uint32(w1 + np.uint64(a1 * (e1 - p1))))
                    w2 = np.uint64(np.uint32(w2 + np.uint64(a1 * (e2 - p2))))
                    p0, p1, p2 = e0, e1, e2
                    if lattice is not None:
                        out[x - step] = np.uint16(given)
                    if palette is not None:
                        out[x - step] = codes[given]
            here[at], here[at + one], here[at + two] = p0, p1, p2
        mirror_ends(errors[y % (depth + 1)], pad)
        if y == -RUN_IN:
            load_errors(errors, errors[y % (depth + 1)], spread)
    return result, clipped
