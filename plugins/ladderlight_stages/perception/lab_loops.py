"""CIELAB and its colour difference CIEDE2000, compiled: several times as fast as array by array.

Without branches and library functions the processor computes several pixels at a time. Both take arrays in C order,
float32 or float64, and return the same.
"""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np
from numpy.typing import NDArray

from ladderlight_stages.compiled import compiled

_DARK = 216 / 24389  # share of white below which CIELAB's lightness is a straight line (CIE 15)
_SLOPE = 24389 / 27
_COS_30, _SIN_30 = cos(pi / 6), sin(pi / 6)
_COS_6, _SIN_6 = cos(pi / 30), sin(pi / 30)
_COS_63, _SIN_63 = cos(7 * pi / 20), sin(7 * pi / 20)
_COS_275, _SIN_275 = cos(275 * pi / 180), sin(275 * pi / 180)
_WIDTHS_IN_A_RADIAN = (180 / pi / 25) ** 2
_SIXTY = pi / 3
_TOGETHER = 256
"""Pixels whose parts of the difference are kept between loops, in the nearest cache."""
_FIRST_A, _SECOND_A, _LIGHTNESS, _CHROMA, _HUE, _MEAN, _COSINE, _SINE, _TURN = range(9)
_SEED = 709921077
"""A third of the exponent's offset in a float32: a number whose bits are a third of another's, plus these, is its cube
root to 6 per cent (W. Kahan, Computing a real cube root, 1991)."""


@compiled
def lab_from(colours: NDArray[np.floating], shares: NDArray[np.floating]) -> NDArray[np.floating]:
    """Convert colours, (height, width, 3), to CIELAB.

    ``shares``, (3, 3) of the same type, lead from such colours to XYZ as shares of white. A share may be below zero:
    the line goes on there.
    """
    height, width, _ = colours.shape
    kind = colours.dtype.type
    lab = np.empty((height, width, 3), colours.dtype)
    rows, to = colours.reshape(height, 3 * width), lab.reshape(height, 3 * width)
    share, root = np.empty(width, colours.dtype), np.empty((3, width), colours.dtype)
    seed = np.empty(width, np.float32)
    bits = seed.view(np.int32)
    dark, slope, two = kind(_DARK), kind(_SLOPE), kind(2)
    rounds = 2 if kind(1) + kind(1e-9) == kind(1) else 3  # single precision has no more digits
    for y in range(height):
        for k in range(3):
            red, green, blue = kind(shares[k, 0]), kind(shares[k, 1]), kind(shares[k, 2])
            for x in range(width):
                share[x] = red * rows[y, 3 * x] + green * rows[y, 3 * x + 1] + blue * rows[y, 3 * x + 2]
                seed[x] = share[x] if share[x] > dark else dark
            for x in range(width):
                bits[x] = np.int32(np.float32(bits[x]) * np.float32(1 / 3)) + np.int32(_SEED)
            for x in range(width):
                here = kind(share[x])
                bright = here if here > dark else dark
                near = kind(seed[x])
                for _ in range(rounds):  # Halley's iteration: each has three times as many digits right
                    cube = near * near * near
                    near = near * (cube + two * bright) / (two * cube + bright)
                root[k, x] = near if here > dark else (slope * here + kind(16)) * kind(1 / 116)
        for x in range(width):
            first, middle, last = kind(root[0, x]), kind(root[1, x]), kind(root[2, x])
            to[y, 3 * x] = kind(116) * middle - kind(16)
            to[y, 3 * x + 1] = kind(500) * (first - middle)
            to[y, 3 * x + 2] = kind(200) * (middle - last)
    return lab


@compiled
def ciede2000(one: NDArray[np.floating], other: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return CIEDE2000, (height, width), of each pair of colours in CIELAB, (height, width, 3) of the same type.

    G. Sharma, W. Wu and E. N. Dalal, The CIEDE2000 color-difference formula: implementation notes, supplementary test
    data and mathematical observations, Color Research and Application 30 (2005) 21-30. Hues are kept as directions in
    place of angles: the mean hue is the direction of the sum, and multiples of it follow from the addition theorems.
    The turn of blue hues is computed by series, to 1e-6 of the difference. There are several loops, since a processor
    looks ahead no further than the next few pixels of one as long as all.
    """
    height, width, _ = one.shape
    kind = one.dtype.type
    none, half, unit, two = kind(0), kind(0.5), kind(1), kind(2)
    differences = np.empty((height, width), one.dtype)
    ones, others, found = one.reshape(-1), other.reshape(-1), differences.reshape(-1)
    kept = np.empty((9, _TOGETHER), one.dtype)
    for begin in range(0, len(found), _TOGETHER):
        count = min(len(found) - begin, _TOGETHER)
        first, second = ones[3 * begin : 3 * (begin + count)], others[3 * begin : 3 * (begin + count)]
        for x in range(count):
            at = 3 * x
            l1, a1, b1 = kind(first[at]), kind(first[at + 1]), kind(first[at + 2])
            l2, a2, b2 = kind(second[at]), kind(second[at + 1]), kind(second[at + 2])
            ratio = (kind(np.sqrt(a1 * a1 + b1 * b1)) + kind(np.sqrt(a2 * a2 + b2 * b2))) * kind(0.02)
            power = ratio * ratio * ratio
            power = power * power * ratio
            stretch = kind(1.5) - half * kind(np.sqrt(power / (power + unit)))
            kept[_FIRST_A, x], kept[_SECOND_A, x] = a1 * stretch, a2 * stretch
            middle = (l1 + l2) * half - kind(50)
            middle *= middle
            kept[_LIGHTNESS, x] = (l2 - l1) / (unit + kind(0.015) * middle / kind(np.sqrt(kind(20) + middle)))
        for x in range(count):
            a1, b1 = kind(kept[_FIRST_A, x]), kind(first[3 * x + 2])
            a2, b2 = kind(kept[_SECOND_A, x]), kind(second[3 * x + 2])
            c1, c2 = kind(np.sqrt(a1 * a1 + b1 * b1)), kind(np.sqrt(a2 * a2 + b2 * b2))
            chroma = c2 - c1
            hue = (a2 - a1) * (a2 - a1) + (b2 - b1) * (b2 - b1) - chroma * chroma
            hue = kind(np.sqrt(hue if hue > none else none))
            kept[_CHROMA, x], kept[_MEAN, x] = chroma, (c1 + c2) * half
            kept[_HUE, x] = -hue if a1 * b2 < a2 * b1 else hue
            # the direction of the mean hue; of no hue at all, and of two opposite ones, as the formula's angles have it
            share1 = unit / (c1 if c1 > none else unit)
            share2 = unit / (c2 if c2 > none else unit)
            c, s = a1 * share1 + a2 * share2, b1 * share1 + b2 * share2
            opposite = c * c + s * s < kind(1e-24)
            side = unit if (b1 > none) | ((b1 == none) & (a1 > none)) else -unit
            kept[_COSINE, x], kept[_SINE, x] = (-b1 * side if opposite else c), (a1 * side if opposite else s)
        for x in range(count):
            c, s, mean = kind(kept[_COSINE, x]), kind(kept[_SINE, x]), kind(kept[_MEAN, x])
            square = c * c + s * s
            c = c if square > none else unit
            norm = unit / kind(np.sqrt(square if square > none else unit))
            c, s = c * norm, s * norm
            kept[_COSINE, x], kept[_SINE, x] = c, s
            cos2, sin2 = two * c * c - unit, two * s * c
            cos3, sin3 = cos2 * c - sin2 * s, sin2 * c + cos2 * s
            cos4, sin4 = two * cos2 * cos2 - unit, two * sin2 * cos2
            t = (
                unit
                - kind(0.17) * (c * kind(_COS_30) + s * kind(_SIN_30))
                + kind(0.24) * cos2
                + kind(0.32) * (cos3 * kind(_COS_6) - sin3 * kind(_SIN_6))
                - kind(0.20) * (cos4 * kind(_COS_63) + sin4 * kind(_SIN_63))
            )
            kept[_CHROMA, x] = kind(kept[_CHROMA, x]) / (unit + kind(0.045) * mean)
            kept[_HUE, x] = kind(kept[_HUE, x]) / (unit + kind(0.015) * mean * t)
        for x in range(count):
            # the square of the angle from 275 degrees, twice the series of the square of an arcsine, in 1 - its cosine
            u = unit - kind(kept[_COSINE, x]) * kind(_COS_275) - kind(kept[_SINE, x]) * kind(_SIN_275)
            angle = (kind(2.103757656e-05) * u + kind(4.798653828e-05)) * u + kind(0.0001108489034)
            angle = ((angle * u + kind(0.0002600159463)) * u + kind(0.0006216006216)) * u + kind(0.001522287237)
            angle = ((angle * u + kind(0.003848003848)) * u + kind(0.01015873016)) * u + kind(1 / 35)
            angle = ((angle * u + kind(4 / 45)) * u + kind(1 / 3)) * u + two
            q = angle * u * kind(_WIDTHS_IN_A_RADIAN / 16)
            kept[_TURN, x] = q if q < unit else unit
        for x in range(count):
            # exp(-16 q) as exp(-q) to the 16th
            q, c, s = kind(kept[_TURN, x]), kind(kept[_COSINE, x]), kind(kept[_SINE, x])
            e = unit - q * kind(1 / 6) * (unit - q * kind(1 / 7) * (unit - q * kind(1 / 8)))
            e = unit - q * kind(1 / 3) * (unit - q * kind(1 / 4) * (unit - q * kind(1 / 5) * e))
            e = unit - q * (unit - q * half * e)
            e *= e
            e *= e
            e *= e
            # angles are counted from 0 to 360: hues just above 0 are far from 275
            kept[_TURN, x] = none if (s >= none) & (c > none) else e * e * kind(_SIXTY)
        for x in range(count):
            turn = kind(kept[_TURN, x])
            v = turn * turn
            sine = kind(1 / 120) - v * (kind(1 / 5040) - v * (kind(1 / 362880) - v * kind(1 / 39916800)))
            sine = turn * (unit - v * (kind(1 / 6) - v * sine))
            ratio = kind(kept[_MEAN, x]) * kind(0.04)
            power = ratio * ratio * ratio
            power = power * power * ratio
            lightness, chroma, hue = kind(kept[_LIGHTNESS, x]), kind(kept[_CHROMA, x]), kind(kept[_HUE, x])
            turned = -two * sine * kind(np.sqrt(power / (power + unit))) * chroma * hue
            square = lightness * lightness + chroma * chroma + hue * hue + turned
            found[begin + x] = kind(np.sqrt(square if square > none else none))
    return differences
