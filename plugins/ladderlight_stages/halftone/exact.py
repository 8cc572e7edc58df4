"""The codes of pictures that are in a board's colours already."""

from bisect import bisect_right
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ladderlight import CodedPicture, Kept, Palette, Picture
from ladderlight.board import linear_from_srgb
from ladderlight.units.arrays import Bytes, Codes, Ints, Singles

_SAMPLES = 97
_STEPS = linear_from_srgb((np.arange(255) + 0.5) / 255)
"""The light from which on each 8-bit value in sRGB but the first is the nearest."""
_PYTHON_STEPS: list[float] = _STEPS.tolist()
_PLACES = np.array([1 << 16, 1 << 8, 1])  # of red, green and blue in a key


def exact_codes(pixels: Singles, palette: Palette) -> Codes | None:
    """Return the codes of a picture whose every pixel is one of the board's colours, or None.

    A pixel, of linear light, is a colour of the board when both are the same in 8-bit sRGB, as in an indexed picture
    file. Of several codes the nearest in light is taken, then the lowest.
    """
    flat = pixels.reshape(-1, 3)
    # one pixel of a photograph, or a few, are enough to return without converting all; for one arrays are slow
    pixel: list[float] = flat[len(flat) // 2].tolist()
    red, green, blue = [bisect_right(_PYTHON_STEPS, light) for light in pixel]
    if red << 16 | green << 8 | blue not in _by_key(palette)[2]:
        return None
    if len(flat) > _SAMPLES and _look_up(flat[len(flat) // (2 * _SAMPLES) :: len(flat) // _SAMPLES], palette) is None:
        return None
    codes = _look_up(flat, palette)
    return None if codes is None else codes.reshape(pixels.shape[:2])


def exactly_or(
    reduce: Callable[[Singles, Palette], Codes], picture: Picture, palette: Palette, kept: Kept
) -> CodedPicture:
    """Return a picture unchanged if it is in the board's colours, else reduced but for the codes to keep."""
    codes = exact_codes(picture.pixels, palette)
    return picture.coded(kept.over(reduce(picture.pixels, palette)) if codes is None else codes)


def _look_up(flat: Singles, palette: Palette) -> Codes | None:
    order, keys, _ = _by_key(palette)
    wanted = _key(np.searchsorted(_STEPS, flat, side="right"))
    place = np.searchsorted(keys, wanted)
    if (keys[np.minimum(place, len(keys) - 1)] != wanted).any():
        return None
    best = order[place]
    if (keys[1:] == keys[:-1]).any():
        gap = np.abs(palette.linear[best] - flat).sum(axis=1)
        # the codes of one key are side by side, the lowest first
        for step in range(1, int(np.bincount(np.unique(keys, return_inverse=True)[1]).max())):
            near = np.minimum(place + step, len(keys) - 1)
            other = np.abs(palette.linear[order[near]] - flat).sum(axis=1)
            better = (keys[near] == wanted) & (other < gap)
            best, gap = np.where(better, order[near], best), np.where(better, other, gap)
    return best.astype(np.uint16)


@lru_cache(maxsize=8)
def _by_key(palette: Palette) -> tuple[NDArray[np.intp], Ints, frozenset[int]]:
    """Return the codes sorted by their 8-bit colours, and those colours, sorted and as a set."""
    keys = _key(palette.srgb8)
    order = np.argsort(keys, kind="stable")
    return order, keys[order], frozenset(keys.tolist())


def _key(colours: Ints | Bytes) -> Ints:
    return np.asarray(colours @ _PLACES)
