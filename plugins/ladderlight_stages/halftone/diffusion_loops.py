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
    light: NDArray[np.int32]
    """int32 (codes, 3): the light of each code, in units above the first bin's lower end."""
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
    errors = np.zeros((depth + 1, count + 6 * pad), np.int32)
    base, offset = np.empty(count, np.int32), np.empty(count, np.int32)
    out_of_reach, clipped = np.empty(count, np.uint8), 0
    low, high, start = np.empty(count, np.float32), np.empty(count, np.float32), np.empty(count, np.float32)
    least, most = np.empty(count, np.float32), np.empty(count, np.float32)
    a1, a2 = np.int32(ahead), np.int32(0 if further is None else further)
    one, two = np.uintp(1), np.uintp(2)
    rounding = np.int32(1 << (SHARE_BITS - 1))
    balance, lowest, highest = balance_of(width), np.empty(3, np.int32), np.empty(3, np.int32)
    if lattice is not None:
        limits, light = lattice.limits, lattice.light
        scale, bits = np.float32(UNITS), np.uintp(lattice.shift + SHARE_BITS)
        levels0, levels1, levels2 = lattice.levels[0], lattice.levels[1], lattice.levels[2]
        codes0, codes1, codes2 = lattice.codes[0], lattice.codes[1], lattice.codes[2]
        for i in range(count):
            gun = i % 3
            low[i], high[i], start[i], offset[i] = limits[gun, 0], limits[gun, 1], limits[gun, 2], rounding
            least[i], most[i] = limits[gun, 3], limits[gun, 4]
        for gun in range(3):
            lowest[gun] = (np.int32((low[gun] - start[gun]) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
            highest[gun] = (np.int32((high[gun] - start[gun]) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
    if palette is not None:
        _, _, bottom, top, bins, light, codes, cells, _ = palette
        scale, bits = np.float32(PALETTE_UNITS), np.uintp(BIN_BITS + SHARE_BITS)
        top0, top1, top2 = np.int32(top[0]), np.int32(top[1]), np.int32(top[2])
        bottom0, bottom1, bottom2 = np.int32(bottom[0]), np.int32(bottom[1]), np.int32(bottom[2])
        bins0, bins1, bins2 = bins[0], bins[1], bins[2]
        levels0, levels1, levels2 = light[:, 0].copy(), light[:, 1].copy(), light[:, 2].copy()
        lowest[:], highest[:] = (bottom << SHARE_BITS) + rounding, (top << SHARE_BITS) + rounding
        for i in range(count):
            gun = i % 3
            low[i], start[i], offset[i] = palette.start[gun], palette.start[gun], lowest[gun]
            high[i] = start[i] + np.float32(top[gun] - bottom[gun]) / scale
    taken0, taken1, taken2 = a1 * levels0, a1 * levels1, a1 * levels2
    for y in range(-RUN_IN, height):
        row = flat[source_row(y, height)]
        for i in range(count):
            if lattice is not None:
                out_of_reach[i] = (row[i] < least[i]) | (row[i] > most[i])
            value: np.float32 = row[i] if row[i] > low[i] else low[i]
            value = value if value < high[i] else high[i]
            base[i] = (np.int32((value - start[i]) * scale + np.float32(0.5)) << SHARE_BITS) + offset[i]
        if lattice is not None:
            clipped += count_pixels(out_of_reach) if y >= 0 else 0
        if y == 0 or y >= height - RUN_OUT:
            waiting = waiting_light(errors, count, below, y)
            settle(base, waiting, balance, height - y if y else 0, lowest, highest)
        add_error_rows(base, errors, below, y, serpentine)
        here = errors[y % (depth + 1), 3 * pad : 3 * pad + count]
        out = result[max(y, 0)]
        backward = serpentine and y % 2 == 1
        x = np.uintp(width - 1 if backward else 0)
        step = np.uintp(-1 if backward else 1)
        # the pixels before the first are mirrored, too: their errors are those of the row above
        last, second = (3 * (width - 1), 3 * max(width - 2, 0)) if backward else (0, 3 * min(1, width - 1))
        above = errors[(y - 1) % (depth + 1), 3 * pad : 3 * pad + count]
        # g: the error added to the next pixel, share x light - share x level, multiplied out so that the processor can
        # compute the former while the level is looked up.
        p0, p1, p2 = np.int32(above[last]), np.int32(above[last + 1]), np.int32(above[last + 2])
        g0 = np.int32(np.int32(a1 * p0) + np.int32(a2 * above[second]))
        g1 = np.int32(np.int32(a1 * p1) + np.int32(a2 * above[second + 1]))
        g2 = np.int32(np.int32(a1 * p2) + np.int32(a2 * above[second + 2]))
        for _ in range(width):
            at = x + x + x
            w0, w1, w2 = np.int32(base[at] + g0), np.int32(base[at + one] + g1), np.int32(base[at + two] + g2)
            v0, v1, v2 = w0 >> SHARE_BITS, w1 >> SHARE_BITS, w2 >> SHARE_BITS
            if palette is not None:
                v0, v1, v2 = max(min(v0, top0), bottom0), max(min(v1, top1), bottom1), max(min(v2, top2), bottom2)
                if kept is not None:  # past kept codes errors reach further, so the cell is that of light as clipped
                    w0, w1, w2 = np.int32(v0 << SHARE_BITS), np.int32(v1 << SHARE_BITS), np.int32(v2 << SHARE_BITS)
            k0 = np.uintp(np.uint32(w0)) >> bits
            k1 = np.uintp(np.uint32(w1)) >> bits
            k2 = np.uintp(np.uint32(w2)) >> bits
            if lattice is not None:
                out[x] = codes0[k0] + codes1[k1] + codes2[k2]
            if palette is not None:
                cell = np.uintp(bins0[k0]) + np.uintp(bins1[k1]) + np.uintp(bins2[k2])
                best = np.uintp(cells[cell])
                if best == np.uintp(LIST):
                    best = search(v0, v1, v2, palette, cell)
                k0, k1, k2 = best, best, best
                out[x] = codes[best]
            g0, g1, g2 = np.int32(a1 * v0), np.int32(a1 * v1), np.int32(a1 * v2)
            if further is not None:
                g0, g1, g2 = np.int32(g0 + a2 * p0), np.int32(g1 + a2 * p1), np.int32(g2 + a2 * p2)
            g0, g1, g2 = np.int32(g0 - taken0[k0]), np.int32(g1 - taken1[k1]), np.int32(g2 - taken2[k2])
            p0, p1, p2 = np.int32(v0 - levels0[k0]), np.int32(v1 - levels1[k1]), np.int32(v2 - levels2[k2])
            if kept is not None:
                given = kept[y, x] if y >= 0 else np.int32(-1)
                if given >= 0:
                    e0 = limited(v0 - light[given, 0], furthest[0])
                    e1 = limited(v1 - light[given, 1], furthest[1])
                    e2 = limited(v2 - light[given, 2], furthest[2])
                    g0 = np.int32(g0 + a1 * (e0 - p0))
                    g1 = np.int32(g1 + a1 * (e1 - p1))
                    g2 = np.int32(g2 + a1 * (e2 - p2))
                    p0, p1, p2 = e0, e1, e2
                    if lattice is not None:
                        out[x] = np.uint16(given)
                    if palette is not None:
                        out[x] = codes[given]
            here[at], here[at + one], here[at + two] = p0, p1, p2
            x += step
        mirror_ends(errors[y % (depth + 1)], pad)
        if y == -RUN_IN:
            load_errors(errors, errors[y % (depth + 1)], spread)
    return result, clipped
