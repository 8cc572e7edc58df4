"""How different two pictures look from a given distance: S-CIELAB.

X. Zhang and B. A. Wandell, A spatial extension of CIELAB for digital color image reproduction, SID 1996, with the
filter parameters of their published reference code. Differences are CIEDE2000.

The method leaves two things open, and figures depend on both. Here each filter is integrated over the pixel, rather
than sampled at its middle, and the picture is reflected at its edges. One filter is 7 degrees wide, so it reaches
beyond the edges from a large part of the picture.

Cosine transforms are made by the Fourier transform of as many values (J. Makhoul, A fast cosine transform in one and
two dimensions, IEEE Transactions on Acoustics, Speech and Signal Processing 28(1), 1980). SciPy's are faster, but
importing them takes longer than measuring small pictures.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import erf, radians

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, Viewing
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.comparison import Comparison
from ladderlight_stages.perception.lab_loops import lab_from
from ladderlight_stages.perception.luminance import WHITE, XYZ_FROM_LINEAR

_SMALL = 1 << 16  # pixels of a picture for which SciPy is not imported
USUAL_DISTANCE = 0.6
"""Metres: arm's length, for stages that need a distance where the recipe has none."""
OPPONENT_FROM_XYZ = np.array(
    [
        [0.279, 0.72, -0.107],
        [-0.449, 0.29, -0.077],
        [0.086, -0.59, 0.501],
    ]
)
"""Luminance, red-green, blue-yellow."""
FILTERS = (
    ((1.00327, 0.05), (0.114416, 0.225), (-0.117686, 7.0)),
    ((0.616725, 0.0685), (0.383275, 0.826)),
    ((0.567885, 0.0920), (0.432115, 0.6451)),
)
"""For each opponent channel: Gaussians as (weight, full width at half maximum in degrees)."""
_OPPONENT_FROM_LINEAR = (OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR).astype(np.float32)
SHARES_FROM_OPPONENT = np.linalg.inv(OPPONENT_FROM_XYZ) / WHITE[:, None]
"""To XYZ as shares of white."""
FULL_WIDTH = float(2 * np.sqrt(2 * np.log(2)))
"""Of a Gaussian at half its maximum, in standard deviations."""
_REACH = 4.5


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


def at_some_distance(viewing: Viewing) -> Viewing:
    """Return the same, with the usual distance where there is none."""
    return replace(viewing, distance=USUAL_DISTANCE) if viewing.distance is None else viewing


def density_of(board: Board, viewing: Viewing) -> tuple[float, float]:
    """Return the picture pixels in a degree of sight, across and down, from the viewer's or the usual distance."""
    degree = radians(1.0) * (USUAL_DISTANCE if viewing.distance is None else viewing.distance)
    width = viewing.screen_width / board.geometry.width
    return degree / width, degree / (width / board.geometry.pixel_aspect)


class Viewer(Comparison):
    """A viewer of a picture.

    ``density`` is the number of picture pixels in a degree of sight, across and down.
    """

    density: tuple[float, float]

    def lab(self, linear: NDArray[np.floating]) -> Floats:
        """Return linear light, (height, width, 3), after the eye's blur: CIELAB of D65 white, float64."""
        return np.asarray(lab_from(seen_opponent(linear, self.density), SHARES_FROM_OPPONENT))


def seen_opponent(linear: NDArray[np.floating], density: tuple[float, float]) -> Floats:
    """Return the opponent channels of linear light that are left after the eye's blur, float64 (height, width, 3).

    Pixels are squares of even light, so each Gaussian is integrated over them exactly; the picture is mirrored beyond
    its edges, which makes the convolution a product of cosine transforms.
    """
    height, width, _ = map(int, linear.shape)
    channels = np.asarray(linear, dtype=np.float32) @ _OPPONENT_FROM_LINEAR.T
    opponent: Floats = np.empty((height, width, 3))
    for number in range(3):
        opponent[..., number] = filtered(channels[..., number], _transfer(number, height, width, density))
    return opponent


def kernel(width_degrees: float, density: float) -> Floats:
    """Return a Gaussian's weights by pixel, (2 n + 1,), of a full width at half maximum; their sum is 1."""
    sigma = width_degrees * density / FULL_WIDTH
    reach = int(np.ceil(_REACH * sigma + 0.5))
    edges = (np.arange(-reach, reach + 2) - 0.5) / (sigma * np.sqrt(2))
    weights = np.diff([erf(edge) for edge in edges]) / 2
    return np.asarray(weights / weights.sum())


def blur_within(gaussians: Sequence[tuple[float, float]], density: tuple[float, float], reach: int) -> Floats:
    """Return the sum of some Gaussians of ``FILTERS`` within ``reach`` pixels; (2 reach + 1, 2 reach + 1)."""
    blur = np.zeros((2 * reach + 1, 2 * reach + 1))
    for weight, degrees in gaussians:
        across, down = (_cut(kernel(degrees, pixels), reach) for pixels in density)
        blur += weight * down[:, None] * across
    return blur


def _cut(weights: Floats, reach: int) -> Floats:
    padded = np.pad(weights, max(reach - len(weights) // 2, 0))
    middle = len(padded) // 2
    return padded[middle - reach : middle + reach + 1]


def ciede_weights(lab: Floats) -> tuple[Floats, Floats]:
    """Return CIEDE2000's divisors of lightness and chroma differences, SL and SC, for (..., 3) of CIELAB."""
    middle = (lab[..., 0] - 50) ** 2
    bright: Floats = 1 + 0.015 * middle / np.sqrt(20 + middle)
    return bright, 1 + 0.045 * np.hypot(lab[..., 1], lab[..., 2])


@lru_cache(maxsize=32)
def _transfer(channel: int, height: int, width: int, density: tuple[float, float]) -> Singles:
    """Return the factor of a channel's filter for each cosine of a picture's size."""
    total = np.zeros((height, width))
    for weight, degrees in FILTERS[channel]:
        across, down = _response(kernel(degrees, density[0]), width), _response(kernel(degrees, density[1]), height)
        total += weight * down[:, None] * across
    return total.astype(np.float32)


def _response(weights: Floats, count: int) -> Floats:
    """Return the factors of symmetric weights for cosines of 0, 1, 2... half periods over ``count`` pixels."""
    reach = len(weights) // 2
    angles = np.pi * np.outer(np.arange(count), np.arange(1, reach + 1)) / count
    return np.asarray(weights[reach] + 2 * np.cos(angles) @ weights[reach + 1 :])
