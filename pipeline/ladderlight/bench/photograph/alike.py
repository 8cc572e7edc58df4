"""Looks that no photograph tells apart, as its white balance and exposure are not known."""

from __future__ import annotations

import numpy as np

from ladderlight.bench.photograph.fitting import BALANCE
from ladderlight.board import srgb_from_linear
from ladderlight.units.arrays import Flags, Singles

NOISE = 0.04
"""Noise of one pixel of a camera in a dark room, as encoded, 0 to 1 (from memory, no source): ten steps of 8 bits."""
_EXPOSURE = 2.0
"""Largest gain of a gun, and one over the least."""
_SPARSE = 37
"""Of so many cells one is compared first."""


def alike(light: Singles, others: Singles) -> Flags:
    """Mark the looks that are one look but for a gain of each gun, and for less than the noise of a camera.

    The gains are within what a fit allows white balance. A resistor that is missing raises all other levels of its gun
    by one factor, so that the screen is that of its line stuck low but for a gain (Millman's theorem).

    Parameters
    ----------
    light
        A look, linear, float32 (rows, columns, 3).
    others
        Looks, float32 (looks, rows, columns, 3).
    """
    one, many = light.reshape(-1, 3), others.reshape(len(others), light.size // 3, 3)
    squares = np.maximum(np.square(one).sum(axis=0), np.float32(1e-9))
    gains = np.clip(np.einsum("kc,nkc->nc", one, many, optimize=True) / squares, 1 / _EXPOSURE, _EXPOSURE)
    mean = gains.mean(axis=1, keepdims=True)
    gains = np.clip(gains, mean * (1 - BALANCE), mean * (1 + BALANCE))

    def near(gain: Singles, other: Singles, step: int) -> bool:
        return bool(np.abs(srgb_from_linear(gain * one[::step]) - srgb_from_linear(other[::step])).max() < NOISE)

    return np.array(
        [near(gain, other, _SPARSE) and near(gain, other, 1) for gain, other in zip(gains, many, strict=True)]
    )
