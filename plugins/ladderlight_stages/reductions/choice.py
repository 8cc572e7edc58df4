"""The best few of many colours for a picture, or for several."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight import Palette
from ladderlight.board.oklab import likeness_from_linear
from ladderlight_stages.reductions.exact import exact_codes
from ladderlight_stages.reductions.nearest import nearest_codes

_MOST = 1024
"""Of the colours that a picture comes near to, the most frequent so many are looked at."""
_ROUNDS = 8


def uses_of(pixels: NDArray[np.float32], palette: Palette) -> NDArray[np.int64]:
    """Count for each code the pixels whose light looks most like its colour, int64 (codes,).

    The counts of several pictures add up to those of all of them. Pixels float32 (height, width, 3), linear light.
    """
    codes = exact_codes(pixels, palette)
    if codes is None:
        codes = nearest_codes(pixels, palette)
    return np.bincount(codes.ravel(), minlength=len(palette))


def best_codes(uses: NDArray[np.int64], palette: Palette, count: int, keep: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """Choose the codes, ascending, at most ``count``, whose colours stand best for what was counted.

    Parameters
    ----------
    uses
        How many pixels come nearest to each code, see ``uses_of``.
    palette
        The board's colours.
    count
        How many to choose, those to keep included.
    keep
        Codes that are among them in any case.

    Notes
    -----
    Each pixel counts as the board's colour that looks most like it. Of these, medoids are sought: colours such that the
    squared differences in likeness between all pixels and the nearest chosen colour add up to little. They are added
    one by one, then each is exchanged for a better one as long as there is one (L. Kaufman and P. J. Rousseeuw,
    Finding Groups in Data, Wiley 1990, chapter 2).
    """
    codes = np.sort(np.argsort(-uses, kind="stable")[:_MOST])
    codes = codes[uses[codes] > 0].astype(np.uint16)
    weights = uses[codes].astype(np.float64)
    free = count - len(keep)
    if len(np.union1d(codes, keep)) <= count or free <= 0:
        return np.union1d(codes, keep)[:count] if free > 0 else np.sort(keep)
    points = likeness_from_linear(palette.linear[codes]).astype(np.float64)
    gaps = ((points[:, None] - points) ** 2).sum(axis=-1)
    kept = ((points[:, None] - likeness_from_linear(palette.linear[keep])) ** 2).sum(axis=-1)
    near = kept.min(axis=1, initial=np.inf)
    chosen: list[int] = []
    for _ in range(min(free, len(codes))):
        chosen.append(_best(weights, gaps, near))
        near = np.minimum(near, gaps[:, chosen[-1]])
    for _ in range(_ROUNDS):
        before = list(chosen)
        for place in range(len(chosen)):
            others = gaps[:, chosen[:place] + chosen[place + 1 :]]
            near = np.minimum(kept.min(axis=1, initial=np.inf), others.min(axis=1, initial=np.inf))
            chosen[place] = _best(weights, gaps, near)
        if chosen == before:
            break
    return np.union1d(codes[chosen], keep)


def _best(weights: NDArray[np.float64], gaps: NDArray[np.float64], near: NDArray[np.float64]) -> int:
    """Give the colour that lessens the sum most, beside those whose nearest gaps are given."""
    return int((weights[:, None] * np.minimum(near[:, None], gaps)).sum(axis=0).argmin())
