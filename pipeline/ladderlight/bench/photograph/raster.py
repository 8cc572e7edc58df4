"""A photograph: read from its file, the raster's corners found in it, and seen straight, cell by cell."""

from itertools import combinations
from pathlib import Path

import numpy as np

from ladderlight.bench.photograph.fitting import blurred, fit, prepared
from ladderlight.errors import PictureError
from ladderlight.system.paths import path_trouble
from ladderlight.units.arrays import Flags, Floats, Ints, Singles

Corners = Floats
"""Corners of the raster in pixels, x and y, from top left clockwise: float64, shape (4, 2)."""

_FINE, _COARSE = 500, 80
"""Pixels of the longer side in which the outline is measured, and in which bright parts count as one."""
RISES = (0.05, 0.1)
"""Share of the way from the surroundings to the brightest parts at which the picture begins; more in a hazy room."""
_LEAST_RISE = 0.04
_SMALLEST = 0.02  # least share of the photograph that a raster covers
_MOST_VERTICES = 36
_ENDS = 0.1  # share of a side at each end that does not count for its line: corners are round
_SAMPLES = 3  # samples across and down each cell
_EVEN = 0.01  # spread of a picture's light that does not show where its corners are
_LEVELS = ((3.0, 4), (1.2, 3), (0.6, 3))  # blur in cells, coarse to fine, and steps at each
_LONGEST = 1600  # pixels of the longer side of what is worked on: enough for ten a picture pixel, and quick
_LARGEST = 200_000_000
_TYPES = ("JPEG", "PNG")


def find_raster(pixels: Singles, rise: float = RISES[0]) -> Corners | None:
    """Return the corners of a bright raster in dark surroundings; None where nothing like one is to be seen.

    ``pixels`` are the photograph's: float32, shape (height, width, 3), 0 to 1; ``rise`` is one of ``RISES``.
    """
    from scipy.spatial import ConvexHull
    from skimage.measure import block_reduce

    step = max(1, round(max(pixels.shape) / _FINE))
    bright = _bright(block_reduce(pixels.max(axis=2), (step, step), np.mean, cval=0.0), rise)
    if bright is None or bright.mean() < _SMALLEST:
        return None
    points = np.argwhere(bright)[:, ::-1].astype(np.float64)
    hull = points[ConvexHull(points).vertices]
    sides = _outline(hull)
    corners = _largest_quadrilateral(hull)
    for _ in range(3):
        corners = _straightened(corners, sides)
    return _clockwise((corners + 0.5) * step - 0.5)


def _bright(light: Singles, rise: float) -> Flags | None:
    """Mark the largest bright part, whose pieces lie near each other."""
    from skimage.measure import block_reduce, label

    rim = np.concatenate([light[:4].ravel(), light[-4:].ravel(), light[:, :4].ravel(), light[:, -4:].ravel()])
    around, top = float(np.median(rim)), float(np.percentile(light, 99.5))
    if top - around < _LEAST_RISE:
        return None
    bright = light > around + rise * (top - around)
    step = max(1, round(max(light.shape) / _COARSE))
    parts: Ints = label(block_reduce(bright, (step, step), np.mean, cval=0.0) > 0.15)
    if not parts.any():
        return None
    largest = np.bincount(parts.ravel())[1:].argmax() + 1
    kept = (parts == largest).repeat(step, axis=0).repeat(step, axis=1)[: light.shape[0], : light.shape[1]]
    return np.asarray(bright & kept)


def _outline(hull: Floats) -> Floats:
    """Return points along a closed line, a pixel apart."""
    ends = np.roll(hull, -1, axis=0)
    lengths = np.maximum(np.ceil(np.hypot(*(ends - hull).T)), 1).astype(int)
    return np.concatenate(
        [start + (end - start) * np.arange(n)[:, None] / n for start, end, n in zip(hull, ends, lengths, strict=True)]
    )


def _largest_quadrilateral(hull: Floats) -> Floats:
    """Return the four of a hull's vertices that enclose the largest area, in their order."""
    if len(hull) > _MOST_VERTICES:
        hull = hull[np.linspace(0, len(hull) - 1, _MOST_VERTICES).round().astype(int)]
    fours = np.array(list(combinations(range(len(hull)), 4)))
    x, y = hull[fours].transpose(2, 0, 1)
    area = np.abs(sum(x[:, i] * y[:, (i + 1) % 4] - x[:, (i + 1) % 4] * y[:, i] for i in range(4)))
    found: Floats = hull[fours[int(np.argmax(area))]]
    return found


def _straightened(corners: Floats, outline: Floats) -> Floats:
    """Return the corners of the straight lines that fit the outline best, each along one side."""
    ends = np.roll(corners, -1, axis=0)
    along = ends - corners
    lengths = np.hypot(*along.T)
    offset = outline[:, None, :] - corners[None]
    place = (offset * along).sum(axis=2) / lengths**2
    away = np.abs(offset[..., 0] * along[:, 1] - offset[..., 1] * along[:, 0]) / lengths
    nearest = away.argmin(axis=1)
    lines = []
    for side in range(4):
        near = outline[(nearest == side) & (place[:, side] > _ENDS) & (place[:, side] < 1 - _ENDS)]
        if len(near) < 8:
            near = np.stack([corners[side], ends[side]])
        middle = near.mean(axis=0)
        direction = np.linalg.svd(near - middle)[2][0]
        normal = np.array([-direction[1], direction[0]])
        lines.append((normal, float(normal @ middle)))
    normals, places = (np.array(each) for each in zip(*lines, strict=True))
    both = np.array([[side - 1, side] for side in range(4)])  # the sides that meet in each corner
    return np.asarray(np.linalg.solve(normals[both], places[both][..., None])[..., 0])


def _clockwise(corners: Floats) -> Corners:
    middle = corners.mean(axis=0)
    order = np.argsort(np.arctan2(*(corners - middle).T[::-1]))
    turned = corners[order]
    return np.roll(turned, -int(turned.sum(axis=1).argmin()), axis=0)


def homography(corners: Corners, rows: int, columns: int) -> Floats:
    """Return the projective map from cells, with 0, 0 the outer corner of the first, to pixels: float64 (3, 3)."""
    from skimage.transform import estimate_transform

    found = estimate_transform("projective", _ends(rows, columns), corners + 0.5)
    return np.asarray(found.params, dtype=np.float64)


def _ends(rows: int, columns: int) -> Floats:
    """Return the corners of all cells together, as :func:`homography` counts them."""
    return np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float64)


def rectified(pixels: Singles, corners: Corners, rows: int, columns: int) -> Singles:
    """Return the mean of a photograph over each cell of its raster: float32, shape (rows, columns, 3)."""
    from skimage.transform import warp

    n = _SAMPLES
    fine, half = np.diag([1 / n, 1 / n, 1.0]), np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    matrix = np.linalg.inv(half) @ homography(corners, rows, columns) @ fine @ half
    sampled = warp(pixels, matrix, output_shape=(rows * n, columns * n), order=1, mode="edge", preserve_range=True)
    return np.asarray(sampled.reshape(rows, n, columns, n, 3).mean(axis=(1, 3)), dtype=np.float32)


def aligned(
    pixels: Singles, corners: Corners, light: Singles, levels: tuple[tuple[float, int], ...] = _LEVELS
) -> Corners:
    """Move a raster's corners until a picture fits the photograph best.

    Gauss and Newton's method on the eight coordinates (B. D. Lucas and T. Kanade 1981), with the colours fitted anew
    at each step. ``light`` is the picture, linear, float32 (rows, columns, 3).
    """
    rows, columns = map(int, light.shape[:2])
    if light.std(axis=(0, 1)).max() < _EVEN:
        return corners
    fields = _fields(rows, columns)
    for sigma, steps in levels:
        target = blurred(light, sigma)
        logs = prepared(target[None])
        for _ in range(steps):
            seen = blurred(rectified(pixels, corners, rows, columns), sigma)
            found = fit(logs, seen)
            left = found.predicted(0, target) - seen
            down, across = (np.asarray(np.gradient(seen, axis=axis)) for axis in (0, 1))
            slopes = (across[..., None] * fields[:, :, None, 0] + down[..., None] * fields[:, :, None, 1])[2:-2, 2:-2]
            matrix = slopes.reshape(-1, 8).astype(np.float64)
            held = matrix.T @ matrix
            held[np.diag_indices(8)] *= 1.01
            step = np.linalg.lstsq(held, matrix.T @ left[2:-2, 2:-2].reshape(-1), rcond=None)[0].reshape(4, 2)
            step = step.clip(-max(1.0, sigma), max(1.0, sigma))
            ends = np.column_stack([_ends(rows, columns) + step, np.ones(4)]) @ homography(corners, rows, columns).T
            corners = ends[:, :2] / ends[:, 2:] - 0.5
            if np.abs(step).max() < 0.02:
                break
    return corners


def _fields(rows: int, columns: int) -> Floats:
    """Return how cells move with each coordinate of the corners: float64 (rows, columns, 2, 8), x before y."""
    y, x = np.indices((rows, columns)) + 0.5
    cells = np.stack([x, y, np.ones_like(x)], axis=-1)
    fields = np.empty((rows, columns, 2, 8))
    for place in range(8):
        moved = _ends(rows, columns)
        moved[place // 2, place % 2] += 0.1
        mapped = cells @ homography(moved - 0.5, rows, columns).T
        fields[..., place] = (mapped[..., :2] / mapped[..., 2:] - cells[..., :2]) / 0.1
    return fields


def read_photograph(path: Path) -> tuple[Singles, float]:
    """Read a JPEG or PNG file, turned as its EXIF orientation says, and made smaller where it is large.

    Returns its pixels as encoded, float32, shape (height, width, 3), 0 to 1, and how many of the file one of these is.
    Raises PictureError when it cannot be read, is of another type, is damaged, or has more than 200 million pixels.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    with path_trouble(PictureError, path, "cannot be read", "name a JPEG or PNG photograph"), path.open("rb") as file:
        try:
            with Image.open(file, formats=_TYPES) as opened:
                if opened.width * opened.height > _LARGEST:
                    size = f"{opened.width} by {opened.height} pixels"
                    raise PictureError(f"has {size}; save it with at most 200 million", where=path)
                full = max(opened.size)
                opened.draft("RGB", (_LONGEST, _LONGEST))
                upright = ImageOps.exif_transpose(opened).convert("RGB")
        except (UnidentifiedImageError, Image.DecompressionBombError):
            raise PictureError("is not a JPEG or PNG photograph; save it as one", where=path) from None
        except (OSError, SyntaxError, ValueError) as error:
            raise PictureError(f"is damaged ({error}); take another photograph", where=path) from None
    upright.thumbnail((_LONGEST, _LONGEST), Image.Resampling.BOX)
    return np.asarray(upright).astype(np.float32) / np.float32(255), full / max(upright.size)
