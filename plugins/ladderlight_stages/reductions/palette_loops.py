"""Error diffusion onto any set of colours: the three guns together go to the nearest colour.

The colours and the picture come in a space of the caller's choice in which straight distance is the one to be least and
in which errors add up as light does, that is, any linear transform of linear light.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ladderlight_stages.reductions.compiled import compiled


@compiled
def diffuse_palette(
    points: Any,
    bounds: Any,
    colours: Any,
    codes: Any,
    box: Any,
    size: Any,
    starts: Any,
    members: Any,
    ahead: Any,
    below: Any,
    shares: Any,
    serpentine: Any,
) -> Any:
    """Reduce a picture.

    Parameters
    ----------
    points
        float32 (height, width, 3): the picture.
    bounds
        float32 (2, 3): what a pixel with the errors it is given is limited to, so that colours out of reach do not
        bleed. The grid's box covers it.
    colours, codes
        float32 (colours, 3) and uint16 (colours,).
    box, size, starts, members
        The grid over the colours, see ``grid.Grid``.
    ahead
        float32 (2,): the shares of the error for the next two pixels.
    below, shares
        int32 (taps, 2) and float32 (taps,): rows down, pixels ahead, and share, for the rows below.
    serpentine
        Whether every other row is scanned backwards.

    Returns
    -------
    uint16 (height, width), codes.
    """
    height, width, _ = points.shape
    flat = points.reshape(height, width * 3)
    result = np.empty((height, width), np.uint16)
    pad, depth = 0, 1
    for tap in range(len(below)):
        pad = max(pad, abs(below[tap, 1]))
        depth = max(depth, below[tap, 0])
    count = width * 3
    errors = np.zeros((depth + 1, count + 6 * pad), np.float32)
    wanted = np.empty(count, np.float32)
    a1, a2 = ahead[0], ahead[1]
    low0, low1, low2 = bounds[0, 0], bounds[0, 1], bounds[0, 2]
    high0, high1, high2 = bounds[1, 0], bounds[1, 1], bounds[1, 2]
    box0, box1, box2 = box[0, 0], box[0, 1], box[0, 2]
    scale0, scale1, scale2 = box[1, 0], box[1, 1], box[1, 2]
    one, two, cells = np.uintp(1), np.uintp(2), np.uintp(size)
    nought = np.float32(0)
    for y in range(height):
        wanted[:] = flat[y]
        for tap in range(len(below)):
            down, right, share = below[tap, 0], below[tap, 1], shares[tap]
            if down > y:
                continue
            back = serpentine and (y - down) % 2 == 1
            offset = 3 * (pad + right if back else pad - right)
            source = errors[(y - down) % (depth + 1), offset : offset + count]
            for i in range(count):
                wanted[i] += share * source[i]
        here = errors[y % (depth + 1), 3 * pad : 3 * pad + count]
        out = result[y]
        backward = serpentine and y % 2 == 1
        x = np.uintp(width - 1 if backward else 0)
        step = np.uintp(-1 if backward else 1)
        e0 = e1 = e2 = p0 = p1 = p2 = nought
        for _ in range(width):
            at = x + x + x
            v0 = (wanted[at] + a2 * p0) + a1 * e0
            v1 = (wanted[at + one] + a2 * p1) + a1 * e1
            v2 = (wanted[at + two] + a2 * p2) + a1 * e2
            v0 = v0 if v0 > low0 else low0
            v1 = v1 if v1 > low1 else low1
            v2 = v2 if v2 > low2 else low2
            v0 = v0 if v0 < high0 else high0
            v1 = v1 if v1 < high1 else high1
            v2 = v2 if v2 < high2 else high2
            k0 = np.uintp(np.int32((v0 - box0) * scale0))
            k1 = np.uintp(np.int32((v1 - box1) * scale1))
            k2 = np.uintp(np.int32((v2 - box2) * scale2))
            cell = (k0 * cells + k1) * cells + k2
            m, last = np.uintp(starts[cell]), np.uintp(starts[cell + one])
            best = np.uintp(members[m])
            m += one
            if m < last:
                d0, d1, d2 = v0 - colours[best, 0], v1 - colours[best, 1], v2 - colours[best, 2]
                least = d0 * d0 + d1 * d1 + d2 * d2
                while m < last:
                    other = np.uintp(members[m])
                    d0, d1, d2 = v0 - colours[other, 0], v1 - colours[other, 1], v2 - colours[other, 2]
                    gap = d0 * d0 + d1 * d1 + d2 * d2
                    if gap < least:
                        least, best = gap, other
                    m += one
            p0, p1, p2 = e0, e1, e2
            e0, e1, e2 = v0 - colours[best, 0], v1 - colours[best, 1], v2 - colours[best, 2]
            here[at], here[at + one], here[at + two] = e0, e1, e2
            out[x] = codes[best]
            x += step
    return result
