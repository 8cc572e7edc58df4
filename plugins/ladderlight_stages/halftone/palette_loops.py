"""Error diffusion onto any set of colours: the three guns together take the nearest colour.

Light is counted in whole units, errors are gathered, and given codes are kept, as in ``lattice_loops``.
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

UNITS = 1 << 16
"""Full light in whole units."""
SHARE_BITS = 11
"""Shares of the error are counted in units of 2**-11."""
BIN_BITS = 6
"""A bin of light is 2**6 units wide."""
CELL_BITS = (5, 6, 5)
"""There are 32, 64 and 32 cells along the guns: green counts for most, and all fit a processor's second cache."""
CELL_SHIFTS = (11, 5, 0)
"""The lowest bit of each gun's cell in the number of a cell."""
LIST = 65535
"""In a cell: search the cell's list."""


class PaletteTables(NamedTuple):
    """A board's colours for the loops, see ``palette_tables``."""

    transform: Singles
    """float32 (3, 3), from linear light to the space in which the nearest colour is searched."""
    start: Singles
    """float32 (3,): the light at ``bottom``."""
    bottom: NDArray[np.int32]
    """int32 (3,): the lower limit of a pixel with its errors, in units, so that colours out of reach do not bleed.
    There is room below and above, so that errors never lead beyond the bins."""
    top: NDArray[np.int32]
    """int32 (3,): the upper limit."""
    bins: Codes
    """uint16 (3, bins): by gun, the addend of a bin of light to the number of its cell."""
    colours: NDArray[np.int32]
    """int32 (colours, 4): in units, the fourth column unused."""
    codes: Codes
    """uint16 (colours,)."""
    cells: Codes
    """uint16 (cells,): the colour to take, or ``LIST``."""
    lists: NDArray[np.int32]
    """int32: for each cell where its colours begin and end in this same array; then the colours."""


@compiled
def diffuse_palette(
    pixels: Singles,
    tables: PaletteTables,
    ahead: int,
    further: int | None,
    below: NDArray[np.int32],
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
    spread: NDArray[np.int32],
    kept: NDArray[np.int32] | None,
    most: NDArray[np.int32],
) -> Codes:
    """Reduce a picture.

    Returns uint16 (height, width), codes.

    Parameters
    ----------
    pixels
        float32 (height, width, 3), linear light.
    tables
        The board's colours.
    ahead, further
        The shares of the error for the next pixel and the one after; None for none, and the compiler then leaves out
        what is done for it.
    below
        int32 (taps, 3): rows down, pixels ahead and share, for the rows below; see ``add_error_rows``.
    serpentine
        Whether every other row is scanned backwards.
    spread
        int32 (3,): by gun, half its largest step; see ``load_errors``.
    kept
        int32 (height, width): the places of the given ones among ``colours``, -1 where there is none; or None.
    most
        int32 (3,): by gun, the largest error that a kept colour passes on.
    """
    _, start, bottom, top, bins, colours, codes, cells, _ = tables
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
    low, high, least = np.empty(count, np.float32), np.empty(count, np.float32), np.empty(count, np.int32)
    for column in range(width):
        for gun in range(3):
            low[column * 3 + gun] = start[gun]
            high[column * 3 + gun] = start[gun] + np.float32(top[gun] - bottom[gun]) / np.float32(UNITS)
            least[column * 3 + gun] = (bottom[gun] << SHARE_BITS) + (1 << (SHARE_BITS - 1))
    a1, a2 = np.int32(ahead), np.int32(0 if further is None else further)
    one, two, bits = np.uintp(1), np.uintp(2), np.uintp(BIN_BITS + SHARE_BITS)
    top0, top1, top2 = np.int32(top[0]), np.int32(top[1]), np.int32(top[2])
    bottom0, bottom1, bottom2 = np.int32(bottom[0]), np.int32(bottom[1]), np.int32(bottom[2])
    bins0, bins1, bins2 = bins[0], bins[1], bins[2]
    colours0, colours1, colours2 = colours[:, 0].copy(), colours[:, 1].copy(), colours[:, 2].copy()
    taken0, taken1, taken2 = a1 * colours0, a1 * colours1, a1 * colours2
    scale = np.float32(UNITS)
    rounding = np.int32(1 << (SHARE_BITS - 1))
    balance, lowest, highest = balance_of(width), (bottom << SHARE_BITS) + rounding, (top << SHARE_BITS) + rounding
    for y in range(-RUN_IN, height):
        row = flat[source_row(y, height)]
        for i in range(count):
            value: np.float32 = row[i] if row[i] > low[i] else low[i]
            value = value if value < high[i] else high[i]
            base[i] = (np.int32((value - low[i]) * scale + np.float32(0.5)) << SHARE_BITS) + least[i]
        if y == 0 or y >= height - RUN_OUT:
            waiting = waiting_light(errors, count, below, y)
            settle(base, waiting, balance, height - y if y else 0, lowest, highest)
        add_error_rows(base, errors, below, y, serpentine)
        here = errors[y % (depth + 1), 3 * pad : 3 * pad + count]
        out = result[max(y, 0)]
        backward = serpentine and y % 2 == 1
        x = np.uintp(width - 1 if backward else 0)
        step = np.uintp(-1 if backward else 1)
        last, second = (3 * (width - 1), 3 * max(width - 2, 0)) if backward else (0, 3 * min(1, width - 1))
        above = errors[(y - 1) % (depth + 1), 3 * pad : 3 * pad + count]
        # g: the error added to the next pixel, share x light - share x colour, multiplied out so that the processor
        # can compute the former while the colour is searched.
        p0, p1, p2 = np.int32(above[last]), np.int32(above[last + 1]), np.int32(above[last + 2])
        g0 = np.int32(np.int32(a1 * p0) + np.int32(a2 * above[second]))
        g1 = np.int32(np.int32(a1 * p1) + np.int32(a2 * above[second + 1]))
        g2 = np.int32(np.int32(a1 * p2) + np.int32(a2 * above[second + 2]))
        for _ in range(width):
            at = x + x + x
            w0, w1, w2 = np.int32(base[at] + g0), np.int32(base[at + one] + g1), np.int32(base[at + two] + g2)
            v0 = max(min(w0 >> SHARE_BITS, top0), bottom0)
            v1 = max(min(w1 >> SHARE_BITS, top1), bottom1)
            v2 = max(min(w2 >> SHARE_BITS, top2), bottom2)
            if kept is not None:  # past kept codes errors reach further, so the cell is that of the light as clipped
                w0, w1, w2 = np.int32(v0 << SHARE_BITS), np.int32(v1 << SHARE_BITS), np.int32(v2 << SHARE_BITS)
            cell = np.uintp(bins0[np.uintp(np.uint32(w0)) >> bits])
            cell += np.uintp(bins1[np.uintp(np.uint32(w1)) >> bits])
            cell += np.uintp(bins2[np.uintp(np.uint32(w2)) >> bits])
            best = np.uintp(cells[cell])
            if kept is not None:
                given = kept[y, x] if y >= 0 else np.int32(-1)
                best = np.uintp(given) if given >= 0 else best
            if best == np.uintp(LIST):
                best = search(v0, v1, v2, tables, cell)
            g0, g1, g2 = np.int32(a1 * v0), np.int32(a1 * v1), np.int32(a1 * v2)
            if further is not None:
                g0, g1, g2 = np.int32(g0 + a2 * p0), np.int32(g1 + a2 * p1), np.int32(g2 + a2 * p2)
            g0, g1, g2 = np.int32(g0 - taken0[best]), np.int32(g1 - taken1[best]), np.int32(g2 - taken2[best])
            p0, p1, p2 = np.int32(v0 - colours0[best]), np.int32(v1 - colours1[best]), np.int32(v2 - colours2[best])
            if kept is not None:  # noqa: SIM102 - the compiler leaves out what follows by this test alone
                if given >= 0:
                    e0, e1, e2 = limited(p0, most[0]), limited(p1, most[1]), limited(p2, most[2])
                    g0 = np.int32(g0 + a1 * (e0 - p0))
                    g1 = np.int32(g1 + a1 * (e1 - p1))
                    g2 = np.int32(g2 + a1 * (e2 - p2))
                    p0, p1, p2 = e0, e1, e2
            here[at], here[at + one], here[at + two] = p0, p1, p2
            out[x] = codes[best]
            x += step
        mirror_ends(errors[y % (depth + 1)], pad)
        if y == -RUN_IN:
            load_errors(errors, errors[y % (depth + 1)], spread)
    return result


@compiled
def search(v0: np.int32, v1: np.int32, v2: np.int32, tables: PaletteTables, cell: np.uintp) -> np.uintp:
    """Return the nearest of a cell's colours, the lowest of several."""
    transform, colours, lists = tables.transform, tables.colours, tables.lists
    best, least = np.uintp(0), np.float32(np.inf)
    for m in range(lists[cell + cell], lists[cell + cell + np.uintp(1)]):
        colour = np.uintp(lists[m])
        d0 = np.float32(v0 - colours[colour, 0])
        d1 = np.float32(v1 - colours[colour, 1])
        d2 = np.float32(v2 - colours[colour, 2])
        gap = np.float32(0)
        for axis in range(3):
            along = transform[axis, 0] * d0 + transform[axis, 1] * d1 + transform[axis, 2] * d2
            gap += along * along
        if gap < least:
            least, best = gap, colour
    return best
