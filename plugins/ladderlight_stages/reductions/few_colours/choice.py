"""The best few of many colours for a picture, or for several."""

import numpy as np

from ladderlight import Palette, Picture
from ladderlight.colour.spaces import similarity_from_linear
from ladderlight.units.arrays import Codes, Floats, Ints
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.reductions.diffuse.kernels import KERNELS
from ladderlight_stages.reductions.diffuse.stage import diffused
from ladderlight_stages.reductions.nearest import nearest_codes

_MOST = 1024
"""Most colours, the most frequent, among which a picture's are chosen."""
_ROUNDS = 8


def uses_of(picture: Picture, palette: Palette) -> Ints:
    """Count the uses of each code in a picture, int64 (codes,); the counts of several pictures add up.

    Each pixel counts for the most similar colour, and once more for that of dithering onto all colours. The former
    alone might leave out the colours around the picture's light: no dithering could then mix it, and a grey picture
    would take on a colour.
    """
    codes = exact_codes(picture.pixels, palette)
    if codes is not None:
        return np.bincount(codes.ravel(), minlength=len(palette))
    alike = nearest_codes(picture.pixels, palette)
    dithered, _ = diffused(picture, palette, KERNELS["floyd_steinberg"])
    return np.bincount(np.concatenate([alike.ravel(), dithered.ravel()]), minlength=len(palette))


def best_codes(uses: Ints, palette: Palette, count: int, keep: Codes) -> Codes:
    """Return the codes, ascending, at most ``count``, whose colours best represent those counted by ``uses_of``.

    Codes to keep are always among them. The choice are medoids of the colours counted: the sum of squared differences
    from each to its nearest chosen colour is small. They are added one by one, then each is exchanged for a better one
    while there is one (L. Kaufman and P. J. Rousseeuw, Finding Groups in Data, Wiley 1990, chapter 2).
    """
    codes = np.sort(np.argsort(-uses, kind="stable")[:_MOST])
    codes = codes[uses[codes] > 0].astype(np.uint16)
    weights = uses[codes].astype(np.float64)
    free = count - len(keep)
    if len(np.union1d(codes, keep)) <= count or free <= 0:
        return np.union1d(codes, keep)[:count] if free > 0 else np.sort(keep)
    points = similarity_from_linear(palette.linear[codes]).astype(np.float64)
    gaps = ((points[:, None] - points) ** 2).sum(axis=-1)
    kept = ((points[:, None] - similarity_from_linear(palette.linear[keep])) ** 2).sum(axis=-1)
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


def _best(weights: Floats, gaps: Floats, near: Floats) -> int:
    """Return the colour that reduces the sum most, beside those whose nearest gaps are given."""
    return int((weights[:, None] * np.minimum(near[:, None], gaps)).sum(axis=0).argmin())
