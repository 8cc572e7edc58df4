"""How well pictures fit a photograph whose brightness, contrast, white balance, gamma, shading and blur are not known.

The fit has few parameters, each within limits, so that no error of colour is explained away by it. A photographed value
is ``a r_c (1 - w d^2) s^g + b``: ``s`` the screen's colour, sRGB, from blurred light; ``g`` the gamma; ``d`` the
distance from the middle, 1 in the corners, and ``w`` the shading; ``a`` and ``b`` gain and offset, common to the
channels; and ``r_c`` each channel's own gain, near 1.
"""

import numpy as np

from ladderlight.board import srgb_from_linear
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags, Floats, Singles

GAMMAS = (0.65, 0.8, 1.0, 1.2, 1.4)
SHADINGS = (0.0, 0.2, 0.4)
BALANCE = 0.2
"""How far a channel's gain may be from the others' mean, as a share of it."""
_TOE, _SLOPE, _DARKEST = np.float32(0.0031308), np.float32(12.92), np.float32(1e-4)
"""Of the sRGB curve, IEC 61966-2-1, and the darkest colour whose logarithm is taken."""
_BRIGHTEST = 2.0  # largest gain, so that no dark picture is taken for a bright screen that is even
OFFSETS = (-0.05, 0.12)
"""Least and largest offset: the light of a dark room on the glass."""
NOISE = 0.04
"""Noise of one pixel of a camera in a dark room, as encoded, 0 to 1 (from memory, no source): ten steps of 8 bits."""
_EXPOSURE = 2.0  # largest gain of a gun, and one over the least
_SPARSE = 37  # of so many cells one is compared first


class Fit(Frozen, eq=False):
    """The best fit of each of some pictures: ``left`` the mean square that it leaves, float64 (pictures,).

    ``gamma`` and ``shading`` float64 (pictures,); ``gain`` float64 (pictures, 3), ``offset`` float64 (pictures,).
    """

    left: Floats
    gamma: Floats
    shading: Floats
    gain: Floats
    offset: Floats

    def predicted(self, place: int, light: Singles) -> Floats:
        """Return the photograph that one picture, linear light (rows, columns, 3), would give."""
        shown = srgb_from_linear(light) ** self.gamma[place]
        shade = 1 - self.shading[place] * distance(*light.shape[:2])[..., None] ** 2
        return np.asarray(self.gain[place] * shade * shown + self.offset[place])


def distance(rows: int, columns: int) -> Floats:
    """Return the distance from the middle, 1 in the corners: float64 (rows, columns)."""
    y, x = np.linspace(-1, 1, rows)[:, None], np.linspace(-1, 1, columns)[None, :]
    return np.sqrt((x**2 + y**2) / 2)


def blurred(pictures: Singles, sigma: float) -> Singles:
    """Return pictures, float32 (..., rows, columns, 3), after a Gaussian blur of so many cells."""
    if sigma < 0.05:
        return pictures
    rows, columns = map(int, pictures.shape[-3:-1])
    down = np.einsum("ij,...jkc->...ikc", _gaussian(rows, sigma), pictures, optimize=True)
    return np.asarray(np.einsum("ij,...kjc->...kic", _gaussian(columns, sigma), down, optimize=True))


def prepared(pictures: Singles) -> Singles:
    """Return what :func:`fit` takes of pictures, linear light (pictures, rows, columns, 3).

    These are logarithms of their colours, float32 (pictures, 3, cells). The outermost cells are left out, as the edge
    of a photographed raster is never exact.
    """
    inner = np.ascontiguousarray(pictures[:, 1:-1, 1:-1].transpose(0, 3, 1, 2))
    shown = np.where(
        inner <= _TOE, inner * _SLOPE, np.float32(1.055) * inner ** np.float32(1 / 2.4) - np.float32(0.055)
    )
    logs: Singles = np.log(np.maximum(shown, _DARKEST)).reshape(len(pictures), 3, -1)
    return logs


def fit(
    logs: Singles, photograph: Singles, *, gammas: tuple[float, ...] = GAMMAS, shadings: tuple[float, ...] = SHADINGS
) -> Fit:
    """Fit pictures, as :func:`prepared`, to a photograph, as encoded, 0 to 1, shape (rows, columns, 3)."""
    seen = np.ascontiguousarray(photograph[1:-1, 1:-1].transpose(2, 0, 1), dtype=np.float32).reshape(3, -1)
    away = distance(*photograph.shape[:2])[1:-1, 1:-1].astype(np.float32).ravel() ** 2
    fits = []
    for gamma in gammas:
        powered = np.exp(np.float32(gamma) * logs)
        squared = np.square(powered)
        shades = ((shading, 1 - np.float32(shading) * away) for shading in shadings)
        fits += [_linear(powered, squared, seen, shade, gamma, shading) for shading, shade in shades]
    best = np.argmin([found.left for found in fits], axis=0)
    each = np.arange(len(logs))
    return Fit(**{key: np.stack([getattr(found, key) for found in fits])[best, each] for key in Fit.__annotations__})


def _linear(powered: Singles, squared: Singles, seen: Singles, shade: Singles, gamma: float, shading: float) -> Fit:
    size = seen.shape[1]
    x = (powered @ shade).astype(np.float64)
    xx = np.maximum((squared @ shade**2).astype(np.float64), 1e-9)
    xy = np.stack([powered[:, gun] @ (seen[gun] * shade) for gun in range(3)], axis=1).astype(np.float64)
    y, yy = float(seen.sum(dtype=np.float64)), float((seen.astype(np.float64) ** 2).sum())
    # Each channel's own gain with a common offset, then the balance within its limits, then the two common ones.
    offset = _offset(y, size, x, xx, xy)
    own = np.maximum((xy - offset[:, None] * x) / xx, 1e-6)
    mean = (own * xx).sum(axis=1) / xx.sum(axis=1)
    balance = np.clip(own / mean[:, None], 1 - BALANCE, 1 + BALANCE)
    bx, bxx, bxy = (balance * x).sum(axis=1), (balance**2 * xx).sum(axis=1), (balance * xy).sum(axis=1)
    offset = _offset(y, size, bx[:, None], bxx[:, None], bxy[:, None])
    common = np.clip((bxy - offset * bx) / bxx, 0, _BRIGHTEST)
    left = yy + common**2 * bxx + 3 * size * offset**2 + 2 * common * offset * bx - 2 * common * bxy - 2 * offset * y
    return Fit(
        left=np.maximum(left, 0) / (3 * size),
        gamma=np.full(len(powered), gamma),
        shading=np.full(len(powered), shading),
        gain=common[:, None] * balance,
        offset=offset,
    )


def _offset(y: float, size: int, x: Floats, xx: Floats, xy: Floats) -> Floats:
    """Return the best offset within its limits, once each column has its own gain."""
    free = np.maximum(3 * size - (x**2 / xx).sum(axis=1), 1e-9)
    offset: Floats = np.clip((y - (x * xy / xx).sum(axis=1)) / free, *OFFSETS)
    return offset


def _gaussian(size: int, sigma: float) -> Singles:
    """Return the matrix that blurs a line of cells; each row adds up to 1."""
    at = np.arange(size)
    weights = np.exp(-0.5 * ((at[:, None] - at[None, :]) / sigma) ** 2)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True), dtype=np.float32)


def alike(light: Singles, others: Singles) -> Flags:
    """Mark the looks that are one look but for a gain of each gun, and for less than the noise of a camera.

    The gains are within what a fit allows white balance. A resistor that is missing raises all other levels of its gun
    by one factor, so that the screen is that of its line stuck low but for a gain (Millman's theorem).

    ``light`` is one look, linear, float32 (rows, columns, 3); ``others`` are (looks, rows, columns, 3).
    """
    one, many = light.reshape(-1, 3), others.reshape(len(others), light.size // 3, 3)
    squares = np.maximum(np.square(one).sum(axis=0), np.float32(1e-9))
    gains = np.clip(np.einsum("kc,nkc->nc", one, many, optimize=True) / squares, 1 / _EXPOSURE, _EXPOSURE)
    mean = gains.mean(axis=1, keepdims=True)
    gains = np.clip(gains, mean * (1 - BALANCE), mean * (1 + BALANCE))

    def near(gain: Singles, other: Singles, step: int) -> bool:
        return bool(np.abs(srgb_from_linear(gain * one[::step]) - srgb_from_linear(other[::step])).max() < NOISE)

    return np.array(
        [near(gain, other, _SPARSE) and near(gain, other, 1) for gain, other in zip(gains, many, strict=True)]
    )
