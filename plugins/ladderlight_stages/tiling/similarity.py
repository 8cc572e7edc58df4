"""How similar two tiles look: points whose squared distance is the visible difference.

Pixels are compared in OKLab twice: as they are, and as the eye sees them from where single pixels merge, blurred in
linear light. Two dithered patches of the same tone are then similar although hardly a pixel is the same.
"""

import numpy as np

from ladderlight.board import Palette
from ladderlight.colour.spaces import oklab_from_linear
from ladderlight.units.arrays import Codes, Singles

Points = Singles

BLUR = 1.0
"""Standard deviation of the blur in picture pixels; a choice, no standard."""
SHARP_SHARE = 0.3
"""Weight of the unblurred difference, the rest goes to the blurred one; a choice, no standard."""


def tile_points(codes: Codes, palette: Palette, shape: tuple[int, int, int]) -> Points:
    """Return each tile of some codes, (tiles, positions), as a point: float32 (tiles, 6 x positions).

    ``shape`` is frames, lines and pixels of a tile; positions are in that order, pixels changing fastest. The squared
    distance of two points is the mean over the pixels of the squared OKLab difference, sharp and blurred as weighted
    above.
    """
    light = palette.linear.astype(np.float32)[codes].reshape(-1, *shape, 3)
    frames, lines, pixels = shape
    blurred = np.einsum("yv,nfvxc->nfyxc", _blur(lines), light, optimize=True)
    blurred = np.einsum("xu,nfyuc->nfyxc", _blur(pixels), blurred, optimize=True)
    sharp = np.sqrt(SHARP_SHARE) * oklab_from_linear(light)
    soft = np.sqrt(1 - SHARP_SHARE) * oklab_from_linear(np.maximum(blurred, 0))
    points = np.concatenate([sharp.reshape(len(codes), -1), soft.reshape(len(codes), -1)], axis=1)
    return np.asarray(points / np.sqrt(frames * lines * pixels), dtype=np.float32)


def coarse_points(codes: Codes, palette: Palette, shape: tuple[int, int, int]) -> Points:
    """Return each tile as a point of a quarter of the pixels: the mean of every two by two, in linear light, as OKLab.

    Takes what :func:`tile_points` takes; what is smaller than two pixels is not reduced.
    """
    light = palette.linear.astype(np.float32)[codes].reshape(-1, *shape, 3)
    for axis in (2, 3):
        if light.shape[axis] > 1:
            first, second = np.split(light.reshape(*light.shape[:axis], -1, 2, *light.shape[axis + 1 :]), 2, axis + 1)
            light = np.asarray((first + second).squeeze(axis + 1) / 2, dtype=np.float32)
    colours = oklab_from_linear(light).reshape(len(codes), -1)
    return np.asarray(colours / np.sqrt(colours.shape[1] / 3), dtype=np.float32)


def squared_distances(one: Points, other: Points) -> Points:
    """Return the squared distances between all points of two sets, float32 (one, other)."""
    square: Points = one @ (-2 * other.T)
    square += (one**2).sum(axis=1)[:, None]
    square += (other**2).sum(axis=1)[None, :]
    return np.maximum(square, 0, out=square)


def _blur(size: int) -> Points:
    """Return the matrix of a Gaussian blur over so many pixels, mirrored at both ends."""
    reach = int(np.ceil(3 * BLUR))
    steps = np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 * (steps / BLUR) ** 2)
    weights /= weights.sum()
    matrix = np.zeros((size, size), dtype=np.float32)
    for at in range(size):
        for step, weight in zip(steps, weights, strict=True):
            there = (at + step) % (2 * size)
            matrix[at, there if there < size else 2 * size - 1 - there] += weight
    return matrix
