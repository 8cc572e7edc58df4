"""Bringing pictures into what a ladder can show."""

from __future__ import annotations

from functools import lru_cache
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from ladderlight import Board, Example, Option, Palette, Picture, stage
from ladderlight_stages.pictures.demand import as_demanded
from ladderlight_stages.pictures.luminance import LUMINANCE
from ladderlight_stages.reductions.exact import exact_codes

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]


@stage(
    help="Bring a picture's colours into the range that the board can show, without clipping.",
    demand=as_demanded,
    example=Example(pictures=("ferry",), board="intensity"),
)
def fit_gamut(
    picture: Picture,
    board: Board,
    *,
    strength: Annotated[float, Option("0 leaves the picture as it is, 1 fits it in full", minimum=0, maximum=1)] = 1,
) -> Picture:
    """Bring a picture into the colours that a board can show or mix.

    Black becomes the board's black, white its white, and light in between stays in proportion. Colours that still lie
    outside what can be mixed from the palette are drawn towards grey of the same luminance until they can be.
    Dithering then never meets light that it cannot spread: shadows and highlights keep their detail, nothing bleeds.

    Parameters
    ----------
    picture
        Any size.
    board
        Its palette.
    strength
        Mixes the light before and after.

    Returns
    -------
    Picture
        0 to 1. With ``strength = 1`` every pixel is a mean of palette colours, to within rounding. A picture drawn in
        nothing but the board's colours is given back as it is.
    """
    if exact_codes(picture.pixels, board.palette) is not None:
        return picture
    reach = _reach(board.palette)
    fitted = reach.fit(picture.pixels.reshape(-1, 3).astype(np.float64)).reshape(picture.pixels.shape)
    mixed = picture.pixels + strength * (fitted - picture.pixels)
    return picture.with_pixels(np.clip(mixed, 0, 1).astype(np.float32))


@lru_cache(maxsize=8)
def _reach(palette: Palette) -> _Reach:
    return _Reach(palette.linear)


class _Reach:
    """All that can be mixed from some colours: their convex hull, in as many dimensions as they span."""

    def __init__(self, colours: Float64) -> None:
        light = colours @ LUMINANCE
        self.black, self.white = colours[np.argmin(light)], colours[np.argmax(light)]
        # A grey board's colours lie on a line, a board of two guns' in a plane: the hull is that of their own space.
        _, sizes, axes = np.linalg.svd(colours - self.black, full_matrices=False)
        self.axes = axes[sizes > 1e-6 * max(sizes[0], 1e-6)]
        self.faces = _faces((colours - self.black) @ self.axes.T)

    def fit(self, pixels: Float64) -> Float64:
        """Move pixels, float64, shape (n, 3), into the hull."""
        span = self.white - self.black
        grey = (pixels @ LUMINANCE)[:, np.newaxis] * span
        placed = grey if len(self.axes) < 2 else pixels * span
        start, way = grey @ self.axes.T, (placed - grey) @ self.axes.T
        share = np.ones(len(pixels))
        for face in self.faces:
            ahead = way @ face[:-1]
            room = -(start @ face[:-1] + face[-1])
            np.minimum(share, np.divide(room, ahead, out=np.ones_like(share), where=ahead > 1e-12), out=share)
        inside = start + np.clip(share, 0, 1)[:, np.newaxis] * way
        moved: Float64 = self.black + inside @ self.axes
        return moved


def _faces(points: Float64) -> Float64:
    """Give the faces of a hull as outward normals and offsets: inside where normal . point + offset <= 0."""
    if points.shape[1] == 0:
        return np.empty((0, 1))
    if points.shape[1] == 1:
        return np.array([[1.0, -points.max()], [-1.0, points.min()]])
    return np.unique(ConvexHull(points).equations.round(9), axis=0)
