"""Colour profiles of curves and a matrix, applied in full precision.

LittleCMS takes 8 bits through Pillow. The profiles of cameras, scanners and monitors are simple enough to be computed
here for pictures of 16: a curve for each channel, then a matrix. All rendering intents are the same for them, and their
black is black, so black needs no compensation.
"""

import struct
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats, Singles

_SRGB_UNDER_D50 = np.array([[0.4360, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]])
"""Linear sRGB to XYZ adapted to D50, as sRGB profiles hold it (IEC 61966-2-1 and ICC.1:2022, annex E)."""


def linear_by_matrix(samples: NDArray[np.uint16], profile: bytes) -> Singles | None:
    """Decode uint16 samples, (height, width, 1 or 3), by an ICC profile of curves and a matrix.

    float32, linear light with sRGB primaries, 0 to 1, shape (height, width) or (height, width, 3); None when the
    profile is of another kind.
    """
    parts = _parts(profile, samples.shape[2])
    if parts is None:
        return None
    curves, matrix = parts
    light = np.stack([curve.take(samples[:, :, gun]) for gun, curve in enumerate(curves)], axis=-1)
    mixed: Singles = light[:, :, 0] if matrix is None else np.clip(light @ matrix.T, 0, 1)
    return mixed


@lru_cache(maxsize=8)
def _parts(profile: bytes, channels: int) -> tuple[list[Singles], Singles | None] | None:
    """Return the curves, each of 65,536 entries, and the matrix to linear sRGB; None as the matrix for grey."""
    try:
        tags = _tags(profile)
        if b"A2B0" in tags:
            return None
        if channels == 1:
            return [_curve(tags[b"kTRC"])], None
        curves = [_curve(tags[gun + b"TRC"]) for gun in (b"r", b"g", b"b")]
        colorants = np.array([_xyz(tags[gun + b"XYZ"]) for gun in (b"r", b"g", b"b")]).T
    except (LookupError, ValueError, struct.error):
        return None
    return curves, (np.linalg.inv(_SRGB_UNDER_D50) @ colorants).astype(np.float32)


def _tags(profile: bytes) -> dict[bytes, bytes]:
    """Read the tag table (ICC.1:2022, section 7.3)."""
    (count,) = struct.unpack_from(">I", profile, 128)
    table = (struct.unpack_from(">4sII", profile, 132 + 12 * entry) for entry in range(min(count, 100)))
    return {signature: profile[start : start + size] for signature, start, size in table}


def _xyz(tag: bytes) -> tuple[float, ...]:
    return tuple(value / 65536 for value in struct.unpack_from(">3i", tag, 8))


def _curve(tag: bytes) -> Singles:
    """Tabulate a curve (ICC.1:2022, sections 10.6 and 10.18) over 65,536 samples."""
    samples = np.linspace(0, 1, 65536)
    if tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        numbers = [value / 65536 for value in struct.unpack_from(f">{(1, 3, 4, 5, 7)[kind]}i", tag, 12)]
        return np.clip(_formula(samples, kind, numbers), 0, 1).astype(np.float32)
    if tag[:4] != b"curv":
        raise ValueError(tag[:4])
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return samples.astype(np.float32)
    values = np.array(struct.unpack_from(f">{count}H", tag, 12))
    if count == 1:
        return np.asarray(samples ** (values[0] / 256), dtype=np.float32)
    return np.interp(samples, np.linspace(0, 1, count), values / 65535).astype(np.float32)


def _formula(x: Floats, kind: int, numbers: list[float]) -> Floats:
    gamma, a, b, c, d, e, f = (numbers + [1.0, 0.0, 0.0, 0.0, 0.0, 0.0][len(numbers) - 1 :])[:7]
    if kind == 0:
        return x**gamma
    power = np.maximum(a * x + b, 0) ** gamma
    if kind in (1, 2):
        offset = c if kind == 2 else 0.0
        return np.where(x >= -b / a, power + offset, offset)
    return np.where(x >= d, power + (e if kind == 4 else 0.0), c * x + (f if kind == 4 else 0.0))
