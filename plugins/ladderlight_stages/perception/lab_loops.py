"""CIELAB and its colour difference CIEDE2000, compiled: several times as fast as array by array."""

from __future__ import annotations

from math import atan2, cos, exp, pi, sin, sqrt

import numpy as np

from ladderlight.units.arrays import Floats
from ladderlight_stages.compiled import compiled

_DARK = 216 / 24389
"""Share of white below which CIELAB's lightness is a straight line (CIE 15)."""
_SLOPE = 24389 / 27
_BLUE = 25.0**7
_COS_30, _SIN_30 = cos(pi / 6), sin(pi / 6)
_COS_6, _SIN_6 = cos(pi / 30), sin(pi / 30)
_COS_63, _SIN_63 = cos(7 * pi / 20), sin(7 * pi / 20)
_COS_275, _SIN_275 = cos(275 * pi / 180), sin(275 * pi / 180)
_FAR_FROM_BLUE = cos(100 * pi / 180)
"""Beyond 100 degrees from 275 the formula's turn of blue hues is below 1e-5 degrees."""


@compiled
def lab_from(colours: Floats, shares: Floats) -> Floats:
    """Convert colours to CIELAB, float64 (height, width, 3).

    Parameters
    ----------
    colours
        float64 (height, width, 3).
    shares
        float64 (3, 3): from such colours to XYZ as shares of white. A share may be below zero: the line goes on there.
    """
    height, width, _ = colours.shape
    lab = np.empty((height, width, 3))
    root = np.empty(3)
    for y in range(height):
        for x in range(width):
            for k in range(3):
                share = 0.0
                for channel in range(3):
                    share += shares[k, channel] * colours[y, x, channel]
                root[k] = np.cbrt(share) if share > _DARK else (_SLOPE * share + 16) / 116
            lab[y, x, 0] = 116 * root[1] - 16
            lab[y, x, 1] = 500 * (root[0] - root[1])
            lab[y, x, 2] = 200 * (root[1] - root[2])
    return lab


@compiled
def ciede2000(one: Floats, other: Floats) -> Floats:
    """Return the colour difference CIEDE2000 of each pair of colours, float64 (height, width).

    Parameters
    ----------
    one, other
        CIELAB, float64 (height, width, 3).

    Notes
    -----
    G. Sharma, W. Wu and E. N. Dalal, The CIEDE2000 color-difference formula: implementation notes, supplementary test
    data and mathematical observations, Color Research and Application 30 (2005) 21-30. Hues are kept as directions in
    place of angles: the mean hue is the direction of the sum, and multiples of it follow from the addition theorems.
    """
    height, width, _ = one.shape
    differences = np.empty((height, width))
    for y in range(height):
        for x in range(width):
            a1, b1, a2, b2 = one[y, x, 1], one[y, x, 2], other[y, x, 1], other[y, x, 2]
            mean = (sqrt(a1 * a1 + b1 * b1) + sqrt(a2 * a2 + b2 * b2)) / 2
            power = mean * (mean * mean * mean) ** 2
            stretch = 1.5 - 0.5 * sqrt(power / (power + _BLUE))
            a1 *= stretch
            a2 *= stretch
            c1, c2 = sqrt(a1 * a1 + b1 * b1), sqrt(a2 * a2 + b2 * b2)
            chroma, chromas = c2 - c1, (c1 + c2) / 2
            hue = sqrt(max((a2 - a1) ** 2 + (b2 - b1) ** 2 - chroma * chroma, 0.0))
            if a1 * b2 < a2 * b1:
                hue = -hue
            # the direction of the mean hue; of no hue at all, and of two opposite ones, as the formula's angles have it
            c, s = 1.0, 0.0
            if c1 > 0 and c2 > 0:
                c, s = a1 / c1 + a2 / c2, b1 / c1 + b2 / c2
                if c * c + s * s < 1e-24:
                    c, s = (-b1, a1) if b1 > 0 or (b1 == 0 and a1 > 0) else (b1, -a1)
            elif c1 + c2 > 0:
                c, s = a1 + a2, b1 + b2
            norm = sqrt(c * c + s * s)
            c, s = c / norm, s / norm
            cos2, sin2 = 2 * c * c - 1, 2 * s * c
            cos3, sin3 = cos2 * c - sin2 * s, sin2 * c + cos2 * s
            cos4, sin4 = 2 * cos2 * cos2 - 1, 2 * sin2 * cos2
            t = (
                1
                - 0.17 * (c * _COS_30 + s * _SIN_30)
                + 0.24 * cos2
                + 0.32 * (cos3 * _COS_6 - sin3 * _SIN_6)
                - 0.20 * (cos4 * _COS_63 + sin4 * _SIN_63)
            )
            middle = ((one[y, x, 0] + other[y, x, 0]) / 2 - 50) ** 2
            lightness = (other[y, x, 0] - one[y, x, 0]) / (1 + 0.015 * middle / sqrt(20 + middle))
            chroma /= 1 + 0.045 * chromas
            hue /= 1 + 0.015 * chromas * t
            turned = 0.0
            if c * _COS_275 + s * _SIN_275 > _FAR_FROM_BLUE:
                degrees = atan2(s, c) * (180 / pi)
                if degrees < 0:
                    degrees += 360
                turn = 60 * exp(-(((degrees - 275) / 25) ** 2)) * (pi / 180)
                power = chromas * (chromas * chromas * chromas) ** 2
                turned = -2 * sin(turn) * sqrt(power / (power + _BLUE)) * chroma * hue
            differences[y, x] = sqrt(max(lightness * lightness + chroma * chroma + hue * hue + turned, 0.0))
    return differences
