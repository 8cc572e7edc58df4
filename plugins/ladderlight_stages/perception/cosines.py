"""Cosine transforms by the Fourier transform of as many values.

J. Makhoul, A fast cosine transform in one and two dimensions, IEEE Transactions on Acoustics, Speech and Signal
Processing 28(1), 1980. SciPy's transforms are faster, but importing them takes longer than measuring small pictures.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

_SMALL = 1 << 16
"""Pixels of a picture for which SciPy is not imported."""


def filtered(values: NDArray[np.floating], transfer: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return a plane, (height, width), of which each cosine has been multiplied by a factor of its own."""
    if values.size < _SMALL:
        cosines = cosines_of(cosines_of(values).T).T
        return from_cosines(from_cosines((cosines * transfer).T).T)
    from scipy.fft import dctn, idctn  # slow to import

    cosines = dctn(values, norm="ortho")
    cosines *= transfer
    return np.asarray(idctn(cosines, norm="ortho", overwrite_x=True))


def cosines_of(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return half the cosine transform of type II, not normalised, along the last axis; the dtype is kept."""
    count = values.shape[-1]
    ordered = np.concatenate([values[..., ::2], values[..., 1::2][..., ::-1]], axis=-1)
    turned = np.fft.rfft(ordered) * _turns(count, values.dtype)
    cosines = np.empty_like(ordered)
    cosines[..., : count // 2 + 1] = turned.real
    cosines[..., count // 2 + 1 :] = -turned.imag[..., (count - 1) // 2 : 0 : -1]
    return cosines


def from_cosines(cosines: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return the values whose cosines were given, along the last axis: the inverse of :func:`cosines_of`."""
    count = cosines.shape[-1]
    turned = np.zeros((*cosines.shape[:-1], count // 2 + 1), dtype=np.result_type(cosines.dtype, np.complex64))
    turned.real = cosines[..., : count // 2 + 1]
    turned.imag[..., 1:] = -cosines[..., : count - count // 2 - 1 : -1]
    ordered = np.fft.irfft(turned * _turns(count, cosines.dtype).conj(), n=count)
    values = np.empty_like(cosines)
    values[..., ::2] = ordered[..., : (count + 1) // 2]
    values[..., 1::2] = ordered[..., (count + 1) // 2 :][..., ::-1]
    return values


@lru_cache(maxsize=32)
def _turns(count: int, kind: np.dtype[np.floating]) -> NDArray[np.complexfloating]:
    """Return the turns by a quarter of a sample that make cosines of the spectrum of reordered values."""
    turns = np.exp(-0.5j * np.pi * np.arange(count // 2 + 1) / count)
    return np.asarray(turns.astype(np.result_type(kind, np.complex64)))
