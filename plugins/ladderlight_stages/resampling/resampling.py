"""Separable resampling: each new row or column is a weighted sum of old ones."""

from collections.abc import Callable
from functools import lru_cache
from typing import Literal

import numpy as np

from ladderlight.units.arrays import Floats, Ints, Singles
from ladderlight_stages.compiled import compiled

_TOGETHER = 4  # rows that are added in one pass; the last few of a sum are added one by one
Method = Literal["lanczos", "area", "bicubic", "bilinear", "nearest"]


def resampled(pixels: Singles, width: int, height: int, method: Method) -> Singles:
    """Resample a picture, float32 (height, width, 3), to another size; the result is C-contiguous.

    ``"area"`` is the exact mean over the area that a new pixel covers; the others are the usual kernels, widened when
    the picture shrinks, so that nothing is skipped; ``"nearest"`` takes the pixel at the centre. The result may exceed
    the range of the picture where the kernel has negative parts (Lanczos, bicubic).
    """
    old_height, old_width = pixels.shape[:2]
    if method == "nearest":
        rows, columns = _centres(old_height, height), _centres(old_width, width)
        return pixels[rows.astype(np.intp)[:, np.newaxis], columns.astype(np.intp)]
    turned = _summed_rows(np.require(pixels, np.float32, ["C", "A", "W"]), *_weights(old_height, height, method))
    return _summed_rows(turned, *_weights(old_width, width, method))


@compiled
def _summed_rows(pixels: Singles, first: Ints, weights: Singles) -> Singles:  # pragma: no cover - compiled
    """Return new rows, each the weighted sum of ``weights.shape[1]`` old ones from ``first``, as columns.

    ``pixels`` (height, width, 3) become (width, new rows, 3): done twice, a picture stands as before. It is as fast as
    a sparse matrix's product, without loading a library for that.
    """
    new, taps = weights.shape
    height, width, _ = pixels.shape
    rows, turned = pixels.reshape(height, 3 * width), np.empty((width, new, 3), np.float32)
    sums = np.empty(3 * width, np.float32)
    for number in range(new):
        sums[:] = 0
        for tap in range(0, taps - taps % _TOGETHER, _TOGETHER):
            at, w = first[number] + tap, weights[number, tap : tap + _TOGETHER]
            a, b, c, d = rows[at], rows[at + 1], rows[at + 2], rows[at + 3]
            for i in range(3 * width):  # the compiler takes many samples at a time
                sums[i] = sums[i] + w[0] * a[i] + w[1] * b[i] + w[2] * c[i] + w[3] * d[i]
        for tap in range(taps - taps % _TOGETHER, taps):
            weight, row = weights[number, tap], rows[first[number] + tap]
            for i in range(3 * width):
                sums[i] += weight * row[i]
        for x in range(width):
            for gun in range(3):
                turned[x, number, gun] = sums[3 * x + gun]
    return turned


def _centres(old: int, new: int) -> Floats:
    return (np.arange(new, dtype=np.float64) + 0.5) * (old / new)


@lru_cache(maxsize=64)
def _weights(old: int, new: int, method: Method) -> tuple[Ints, Singles]:
    """Return the first old place of each new one, int64 (new,), and the weights from there on, float32 (new, taps).

    Each row sums to 1.
    """
    area, step = method == "area", old / new
    stretch = max(1.0, step)
    reach = step / 2 + 0.5 if area else _KERNELS[method][1] * stretch
    centres = _centres(old, new)[:, np.newaxis]
    taps = min(int(np.ceil(2 * reach)), old)
    first = np.clip(np.floor(centres - reach + 0.5).astype(np.int64), 0, old - taps)
    offset = first + np.arange(taps) + 0.5 - centres
    weights = _covered(offset, step / 2) if area else _KERNELS[method][0](offset / stretch)
    weights /= weights.sum(axis=1, keepdims=True)
    return first.ravel(), weights.astype(np.float32)


def _covered(offset: Floats, reach: float) -> Floats:
    """Return the part of an old pixel that lies within ``reach`` of a new one's centre."""
    within: Floats = np.minimum(offset + 0.5, reach) - np.maximum(offset - 0.5, -reach)
    return np.clip(within, 0.0, None)


def _lanczos(x: Floats) -> Floats:
    """Lanczos's window of three lobes: sinc(x) sinc(x/3)."""
    value: Floats = np.where(np.abs(x) < 3, np.sinc(x) * np.sinc(x / 3), 0.0)
    return value


def _bicubic(x: Floats) -> Floats:
    """Keys's cubic convolution with a = -1/2 (IEEE Trans. ASSP 29, 1981)."""
    x = np.abs(x)
    near = (1.5 * x - 2.5) * x * x + 1
    far = ((-0.5 * x + 2.5) * x - 4) * x + 2
    value: Floats = np.where(x < 1, near, np.where(x < 2, far, 0.0))
    return value


def _bilinear(x: Floats) -> Floats:
    value: Floats = np.clip(1 - np.abs(x), 0.0, None)
    return value


_KERNELS: dict[Method, tuple[Callable[[Floats], Floats], float]] = {
    "lanczos": (_lanczos, 3.0),
    "bicubic": (_bicubic, 2.0),
    "bilinear": (_bilinear, 1.0),
}
