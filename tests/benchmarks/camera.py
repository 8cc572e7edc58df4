"""A camera in front of a screen, simulated: what a photograph of the monitor is like.

Nothing here is Ladderlight's. A screen's pixels, with the dark grid between them, are seen in perspective through a
lens that blurs and shades, by a sensor with noise, colour cast, another brightness and gamma, in dark surroundings.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates

PIXELS = 3  # samples across each monitor pixel, the last of which lies in the dark grid


@dataclass(frozen=True)
class Shot:
    """A photograph as a JPEG file's bytes, and the corners of the screen in it, x and y, from top left clockwise."""

    jpeg: bytes
    corners: np.ndarray


def photographed(screen: np.ndarray, random: np.random.Generator, size: tuple[int, int] = (1280, 960)) -> Shot:
    """Photograph a screen, uint8 (height, width, 3) sRGB, with whatever happens to be the angle and the light."""
    light = decoded(screen / 255.0).repeat(PIXELS, axis=0).repeat(PIXELS, axis=1)
    grid = random.uniform(0.55, 0.9)
    light[PIXELS - 1 :: PIXELS] *= grid
    light[:, PIXELS - 1 :: PIXELS] *= grid
    width, height = size
    corners = _corners(random, width, height, screen.shape[1] / screen.shape[0])
    seen = _projected(light, corners, width, height)
    seen = gaussian_filter(seen, (random.uniform(0.5, 1.4),) * 2 + (0,))
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    seen *= 1 - random.uniform(0.0, 0.3) * ((x**2 + y**2) / 2)[..., None]
    seen *= random.uniform(0.6, 1.1) * random.uniform(0.85, 1.15, 3)
    seen += random.uniform(0.0, 0.01)  # the dark room on the glass and around
    values = encoded(np.clip(seen, 0, 1)) ** random.uniform(0.7, 1.3)
    values += random.normal(0, 0.04, values.shape)
    file = io.BytesIO()
    Image.fromarray((np.clip(values, 0, 1) * 255).round().astype(np.uint8)).save(file, format="JPEG", quality=88)
    return Shot(file.getvalue(), corners)


def decoded(values: np.ndarray) -> np.ndarray:
    """Linear light from sRGB values, IEC 61966-2-1."""
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def encoded(light: np.ndarray) -> np.ndarray:
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)


def _corners(random: np.random.Generator, width: int, height: int, aspect: float) -> np.ndarray:
    """Corners of a flat screen turned by up to 12 degrees about each axis, before a pinhole."""
    yaw, pitch, roll = np.radians(random.uniform(-12, 12, 3) * (1, 1, 0.4))
    a, b = np.cos(yaw), np.sin(yaw)
    c, d = np.cos(pitch), np.sin(pitch)
    e, f = np.cos(roll), np.sin(roll)
    turn = np.array([[a, 0, b], [0, 1, 0], [-b, 0, a]]) @ np.array([[1, 0, 0], [0, c, -d], [0, d, c]])
    turn = turn @ np.array([[e, -f, 0], [f, e, 0], [0, 0, 1]])
    flat = np.array([[-aspect, -1, 0], [aspect, -1, 0], [aspect, 1, 0], [-aspect, 1, 0]]) / aspect
    placed = flat @ turn.T + (0, 0, random.uniform(2.6, 3.4))
    points = placed[:, :2] / placed[:, 2:]
    span = np.ptp(points, axis=0)
    zoom = random.uniform(0.68, 0.86) * min(width / span[0], height / span[1])
    points = (points - (points.min(axis=0) + points.max(axis=0)) / 2) * zoom
    return points + (width / 2, height / 2) + random.uniform(-0.04, 0.04, 2) * (width, height)


def _projected(light: np.ndarray, corners: np.ndarray, width: int, height: int) -> np.ndarray:
    """Sample the screen where each of four points in every camera pixel sees it; black beside it."""
    high, wide = light.shape[:2]
    ends = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], dtype=float)
    rows = []
    for (x, y), (u, v) in zip(corners, ends, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    matrix = np.append(np.linalg.solve(np.array(rows), ends.ravel()), 1).reshape(3, 3)
    total = np.zeros((height, width, 3))
    for dy in (0.25, 0.75):
        for dx in (0.25, 0.75):
            y, x = np.mgrid[0:height, 0:width]
            u, v, w = np.tensordot(matrix, np.stack([x + dx, y + dy, np.ones_like(x)]), axes=1)
            at = np.stack([v / w - 0.5, u / w - 0.5])
            for gun in range(3):
                total[..., gun] += map_coordinates(light[..., gun], at, order=0, cval=0.0, prefilter=False)
    return total / 4
