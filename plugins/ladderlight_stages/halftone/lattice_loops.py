"""Error diffusion for boards whose channels are independent: each gun goes to the nearest of its own levels.

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
def diffuse_lattice(
    pixels: Singles,
    tables: LatticeTables,
    ahead: int,
    further: int | None,
    below: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    kept: NDArray[np.int32] | None,
) -> tuple[Codes, int]:
    """Reduce a picture.

    Returns uint16 (height, width), codes; and the number of pixels with a gun beyond its levels: counting them in a
    pass of its own would take a fifth of the time.

    Parameters
    ----------
    pixels
        float32 (height, width, 3), linear light.
    tables
        The levels of the guns.
    ahead, further
        The shares of the error for the next pixel and the one after; None for none, and the compiler then leaves out
        what is done for it.
    below
        int32 (taps, 3): rows down, pixels ahead and share, for the rows below; see ``add_error_rows``.
    serpentine
        Whether every other row is scanned backwards.
    kept
        int32 (height, width): the given codes, -1 where there is none; or None. The compiler leaves out what is done
        for them alone where it is None.
    """
    limits, shift, levels, codes, light, spread = tables
    height, width, _ = pixels.shape
    flat = pixels.reshape(height, width * 3)
    result = np.empty((height, width), np.uint16)
    pad, depth = 0, 1
    for tap in range(len(below)):
        pad = max(pad, abs(below[tap, 1]))
        depth = max(depth, below[tap, 0])
    count = width * 3
    errors = np.zeros((depth + 1, count + 6 * pad), np.int32)
    base = np.empty(count, np.int32)
    out_of_reach, clipped = np.empty(count, np.uint8), 0
    low, high, start = np.empty(count, np.float32), np.empty(count, np.float32), np.empty(count, np.float32)
    least, most = np.empty(count, np.float32), np.empty(count, np.float32)
    for column in range(width):
        for gun in range(3):
            low[column * 3 + gun], high[column * 3 + gun] = limits[gun, 0], limits[gun, 1]
            start[column * 3 + gun] = limits[gun, 2]
            least[column * 3 + gun], most[column * 3 + gun] = limits[gun, 3], limits[gun, 4]
    levels0, levels1, levels2 = levels[0], levels[1], levels[2]
    codes0, codes1, codes2 = codes[0], codes[1], codes[2]
    a1, a2 = np.int32(ahead), np.int32(0 if further is None else further)
    taken = a1 * levels
    taken0, taken1, taken2 = taken[0], taken[1], taken[2]
    bits, one, two = np.uintp(shift + SHARE_BITS), np.uintp(1), np.uintp(2)
    scale, rounding = np.float32(UNITS), np.int32(1 << (SHARE_BITS - 1))
    balance, lowest, highest = balance_of(width), np.empty(3, np.int32), np.empty(3, np.int32)
    for gun in range(3):
        lowest[gun] = (np.int32((low[gun] - start[gun]) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
        highest[gun] = (np.int32((high[gun] - start[gun]) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
    for y in range(-RUN_IN, height):
        row = flat[source_row(y, height)]
        for i in range(count):
            out_of_reach[i] = (row[i] < least[i]) | (row[i] > most[i])
            value: np.float32 = row[i] if row[i] > low[i] else low[i]
            value = value if value < high[i] else high[i]
            base[i] = (np.int32((value - start[i]) * scale + np.float32(0.5)) << SHARE_BITS) + rounding
        if y >= 0:
            clipped += count_pixels(out_of_reach)
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
            k0 = np.uintp(np.uint32(w0)) >> bits
            k1 = np.uintp(np.uint32(w1)) >> bits
            k2 = np.uintp(np.uint32(w2)) >> bits
            v0, v1, v2 = w0 >> SHARE_BITS, w1 >> SHARE_BITS, w2 >> SHARE_BITS
            g0, g1, g2 = np.int32(a1 * v0), np.int32(a1 * v1), np.int32(a1 * v2)
            if further is not None:
                g0, g1, g2 = np.int32(g0 + a2 * p0), np.int32(g1 + a2 * p1), np.int32(g2 + a2 * p2)
            g0, g1, g2 = np.int32(g0 - taken0[k0]), np.int32(g1 - taken1[k1]), np.int32(g2 - taken2[k2])
            p0, p1, p2 = np.int32(v0 - levels0[k0]), np.int32(v1 - levels1[k1]), np.int32(v2 - levels2[k2])
            out[x] = codes0[k0] + codes1[k1] + codes2[k2]
            if kept is not None:
                code = kept[y, x] if y >= 0 else np.int32(-1)
                if code >= 0:
                    e0 = limited(v0 - light[code, 0], spread[0])
                    e1 = limited(v1 - light[code, 1], spread[1])
                    e2 = limited(v2 - light[code, 2], spread[2])
                    g0 = np.int32(g0 + a1 * (e0 - p0))
                    g1 = np.int32(g1 + a1 * (e1 - p1))
                    g2 = np.int32(g2 + a1 * (e2 - p2))
                    p0, p1, p2 = e0, e1, e2
                    out[x] = np.uint16(code)
            here[at], here[at + one], here[at + two] = p0, p1, p2
            x += step
        mirror_ends(errors[y % (depth + 1)], pad)
        if y == -RUN_IN:
            load_errors(errors, errors[y % (depth + 1)], spread)
    return result, clipped
