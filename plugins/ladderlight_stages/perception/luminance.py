"""Luminance and colour, separated, in linear light."""

from __future__ import annotations

import numpy as np

from ladderlight.colour import spaces
from ladderlight.units.arrays import Singles

LUMINANCE: Singles = spaces.LUMINANCE.astype(np.float32)
"""Shares of red, green and blue light in luminance, single precision like pixels."""


def luminance_of(pixels: Singles) -> Singles:
    """Return the luminance of float32 pixels, shape (height, width, 3), as shape (height, width)."""
    return pixels @ LUMINANCE


def relit(pixels: Singles, luminance: Singles) -> Singles:
    """Return a picture with another luminance and the same colours.

    Parameters
    ----------
    pixels
        float32, shape (height, width, 3), linear light, 0 to 1.
    luminance
        float32, shape (height, width), 0 to 1.

    Returns
    -------
    ndarray
        float32, 0 to 1. Colours that cannot be so light become paler; black becomes grey.
    """
    old = luminance_of(pixels)
    gain = np.divide(luminance, old, out=np.zeros_like(old), where=old > 0)
    chroma = pixels * gain[..., np.newaxis] - luminance[..., np.newaxis]
    chroma[old <= 0] = 0
    return coloured(luminance, chroma)


def coloured(luminance: Singles, chroma: Singles) -> Singles:
    """Return grey with as much colour added as keeps every channel in 0 to 1. Luminance and hue stay.

    Parameters
    ----------
    luminance
        float32, shape (height, width), 0 to 1.
    chroma
        float32, shape (height, width, 3): pixels less their luminance.
    """
    grey = luminance[..., np.newaxis]
    room = np.where(chroma > 0, 1 - grey, grey)
    size = np.abs(chroma)
    share = np.divide(room, size, out=np.ones_like(size), where=size > room).min(axis=-1, keepdims=True)
    mixed: Singles = grey + share * chroma
    return np.clip(mixed, 0, 1)
