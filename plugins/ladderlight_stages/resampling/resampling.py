"""Separable resampling: each new row or column is a weighted sum of old ones."""

from collections.abc import Callable
from functools import lru_cache
from typing import Literal

import numpy as np

from ladderlight.units.arrays import Floats, Ints, Singles
from ladderlight_stages.resampling.resampling_loops import summed_rows

Method = Literal["lanczos", "area", "bicubic", "bilinear", "nearest"]


def resampled(pixels: Singles, width: int, height: int, method: Method) -> Singles:
    """Resample a picture to another size.

    Returns float32, shape (height, width, 3), C-contiguous. May exceed the range of the input where the kernel has
    negative parts (Lanczos, bicubic).

    Parameters
    ----------
    pixels
        float32, shape (height, width, 3).
    width, height
        The new size.
    method
        ``"area"`` is the exact mean over the area that a new pixel covers; the others are the usual kernels, widened
        when the picture shrinks, so that nothing is skipped; ``"nearest"`` takes the pixel at the centre.
    """
    old_height, old_width = pixels.shape[:2]
    if method == "nearest":
        rows, columns = _centres(old_height, height), _centres(old_width, width)
        return pixels[rows.astype(np.intp)[:, np.newaxis], columns.astype(np.intp)]
    pixels = np.require(pixels, np.float32, ["C", "A", "W"])
    return summed_rows(summed_rows(pixels, *_weights(old_height, height, method)), *_weights(old_width, width, method))


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
