"""A camera's answer to a screen, in few parameters, each within limits: what is fitted to the likeliest pictures.

Light ``L`` of the screen, blurred, becomes ``u = a_c (1 - w d^2) L + o``: each channel's own gain ``a_c``, near their
mean; ``w`` the shading at ``d`` from the middle, 1 in the corners; ``o`` the light of the room on the glass. The
photographed value is the sRGB value of ``u`` to the power ``g``, the gamma.
"""

import numpy as np

from ladderlight.bench.photograph.fitting import BALANCE, distance
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Floats, Singles

_STEPS = 10
_LOWEST = np.array([0.02, 0.02, 0.02, 0.0, -0.1, 0.6])
_HIGHEST = np.array([4.0, 4.0, 4.0, 0.06, 0.5, 1.5])
_START = np.array([0.8, 0.8, 0.8, 0.003, 0.1, 1.0])  # of gains, room, shading and gamma
_DARKEST = np.float32(1e-5)


class Answer(Frozen, eq=False):
    """The best fit of one picture: the mean square that is ``left``, the photograph ``predicted``, and the ``camera``.

    That is gains, room, shading and gamma, float64 (6,).
    """

    left: float
    predicted: Singles
    camera: Floats


def answer_to(light: Singles, seen: Singles, start: Floats = _START) -> Answer:
    """Fit a camera to a picture, linear light (rows, columns, 3), and a photograph of it, as encoded, of that shape.

    ``start`` is the camera of a picture much like it.
    Levenberg and Marquardt's method (D. Marquardt 1963). The outermost cells do not count.
    """
    away = (distance(*light.shape[:2]) ** 2).astype(np.float32)[..., None]
    held, damping = start, 1e-3
    predicted, slopes = _photographed(light, away, held)
    left = _left(predicted, seen)
    for _ in range(_STEPS):
        wrong = (seen - predicted)[1:-1, 1:-1].reshape(-1).astype(np.float64)
        matrix = slopes[1:-1, 1:-1].reshape(-1, 6)
        square, down = (matrix.T @ matrix).astype(np.float64), matrix.T.astype(np.float64) @ wrong
        square[np.diag_indices(6)] = square.diagonal() * (1 + damping) + 1e-9
        tried = _within(held + np.linalg.solve(square, down))
        there, slopes_there = _photographed(light, away, tried)
        left_there = _left(there, seen)
        if left_there >= left:
            damping *= 10
            if damping > 1e3:
                break
            continue
        done = left - left_there < 1e-5 * left
        held, predicted, slopes, left, damping = tried, there, slopes_there, left_there, damping / 5
        if done:
            break
    return Answer(left=left, predicted=predicted, camera=held)


def _photographed(light: Singles, away: Singles, held: Floats) -> tuple[Singles, Singles]:
    """Return the photograph, and how it changes with each parameter, float32 (rows, columns, 3, 6)."""
    gains, (room, shading, gamma) = held[:3].astype(np.float32), (np.float32(value) for value in held[3:])
    shaded = (1 - shading * away) * light
    u = np.maximum(gains * shaded + room, _DARKEST)
    toe = u <= np.float32(0.0031308)
    root = u ** np.float32(1 / 2.4)
    value = np.where(toe, np.float32(12.92) * u, np.float32(1.055) * root - np.float32(0.055))
    steep = np.where(toe, np.float32(12.92), np.float32(1.055 / 2.4) * root / u)
    predicted = value**gamma
    to_light = gamma * predicted / value * steep
    slopes = np.zeros((*light.shape, 6), dtype=np.float32)
    for gun in range(3):
        slopes[..., gun, gun] = to_light[..., gun] * shaded[..., gun]
    slopes[..., 3] = to_light
    slopes[..., 4] = -to_light * gains * away * light
    slopes[..., 5] = predicted * np.log(value)
    return predicted, slopes


def _left(predicted: Singles, seen: Singles) -> float:
    return float(np.square((seen - predicted)[1:-1, 1:-1], dtype=np.float64).mean())


def _within(held: Floats) -> Floats:
    held = np.clip(held, _LOWEST, _HIGHEST)
    mean = held[:3].mean()
    held[:3] = np.clip(held[:3], mean * (1 - BALANCE), mean * (1 + BALANCE))
    return held
