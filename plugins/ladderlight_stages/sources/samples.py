"""From decoded samples to linear light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import linear_from_srgb

Float32 = NDArray[np.float32]

_LINEAR_OF_8_BITS = linear_from_srgb(np.arange(256) / 255).astype(np.float32)
_LINEAR_OF_16_BITS = linear_from_srgb(np.arange(65536) / 65535).astype(np.float32)


def linear_pixels(samples: NDArray[np.unsignedinteger]) -> Float32:
    """Decode sRGB samples to linear light.

    Parameters
    ----------
    samples
        uint8 or uint16 over their whole range, shape (height, width) or (height, width, 3).

    Returns
    -------
    ndarray
        float32, shape (height, width, 3), 0 to 1.
    """
    table = _LINEAR_OF_8_BITS if samples.dtype == np.uint8 else _LINEAR_OF_16_BITS
    linear = table.take(samples)
    return linear if linear.ndim == 3 else np.repeat(linear[:, :, np.newaxis], 3, axis=2)


def over_matte(linear: Float32, alpha: NDArray[np.unsignedinteger], matte: Float32) -> Float32:
    """Lay a picture over a plain colour, in linear light.

    Parameters
    ----------
    linear
        float32, shape (height, width, 3), 0 to 1; not multiplied by alpha.
    alpha
        uint8 or uint16 over their whole range, shape (height, width).
    matte
        float32, shape (3,), 0 to 1.
    """
    cover = (alpha * np.float32(1 / np.iinfo(alpha.dtype).max))[:, :, np.newaxis]
    return matte + (linear - matte) * cover


def upright(samples: NDArray[np.unsignedinteger], orientation: int) -> NDArray[np.unsignedinteger]:
    """Turn a picture as its EXIF orientation, 1 to 8, says (Exif 2.32, tag 274). Gives a view."""
    if orientation >= 5:
        samples = samples.swapaxes(0, 1)
    if orientation in (3, 4, 7, 8):
        samples = samples[::-1]
    if orientation in (2, 3, 6, 7):
        samples = samples[:, ::-1]
    return samples
