"""The colours that a board can show or mix: the convex hull of its own, in linear light."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen, Palette
from ladderlight.colour.spaces import LUMINANCE
from ladderlight.units.arrays import Flags, Floats, Ints, Singles
from ladderlight_stages.perception.luminance import half_steps

CELLS = 32
"""Cells along each gun's light. Few pixels lie in cells that a hull cuts, and all cells fit a processor's cache."""
_GUNS = 3
_FLAT = 1e-6  # share of the largest extent of a board's colours up to which another one counts as none
_INSIDE, _OUTSIDE = 0, 1
_NEVER, _ALWAYS = (0.0, 0.0, 0.0, 1.0), (0.0, 0.0, 0.0, -1.0)
"""Faces, the first two of all: one that no light passes, and one that all light does."""


class Reach(Frozen, eq=False):
    """The convex hull of some colours, which holds all that can be mixed from them, in the dimensions that they span.

    ``black`` and ``white``, (3,), are the darkest and the lightest colour. ``axes``, (dimensions, 3), are orthonormal:
    a grey board's colours lie on a line, those of two guns in a plane, and the hull is that of their own space, from
    ``black`` on. ``faces``, (faces, dimensions + 1), are outward normals and offsets: inside where normal . point +
    offset <= 0.
    """

    black: Floats
    white: Floats
    axes: Floats
    faces: Floats


@lru_cache(maxsize=8)
def reach_of(palette: Palette) -> Reach:
    """Return the convex hull of a palette's colours."""
    colours = palette.linear
    light = colours @ LUMINANCE
    black: Floats = colours[np.argmin(light)]
    white: Floats = colours[np.argmax(light)]
    axes = _spanned(colours - black)
    return Reach(black=black, white=white, axes=axes, faces=_faces((colours - black) @ axes.T))


def nearest_in_principle(pixels: Singles, palette: Palette) -> Singles:
    """Return a picture without the colour that a board cannot have, whatever its levels: float32 (height, width, 3).

    A board's colours may lie on a line, as greys do, or in a plane. Light goes to the nearest of that line or plane,
    each gun counted by its share of luminance: on greys that is luminance, and luminance stays wherever the board has
    greys. A picture for any other board is returned as it is.
    """
    flat = _flat(palette)
    if flat is None:
        return pixels
    place, projection = flat
    return np.asarray((pixels - place) @ projection + place, dtype=np.float32)


@lru_cache(maxsize=8)
def _flat(palette: Palette) -> tuple[Singles, Singles] | None:
    """Return a place on the line or plane of a board's colours, and the projection onto it, (3, 3) for rows."""
    black: Floats = palette.linear[np.argmin(palette.linear @ LUMINANCE)]
    weights = np.sqrt(LUMINANCE)
    axes = _spanned((palette.linear - black) * weights)
    if len(axes) == _GUNS:
        return None
    return black.astype(np.float32), ((weights[:, None] * axes.T) @ (axes / weights)).astype(np.float32)


def _spanned(points: Floats) -> Floats:
    """Return orthonormal axes, (dimensions, 3), of the space that points and 0 span."""
    _, sizes, axes = np.linalg.svd(points, full_matrices=False)
    return np.asarray(axes[sizes > _FLAT * max(sizes[0], _FLAT)])


def _faces(points: Floats) -> Floats:
    from scipy.spatial import ConvexHull  # slow to import

    if points.shape[1] == 0:
        return np.empty((0, 1))
    if points.shape[1] == 1:
        return np.array([[1.0, -points.max()], [-1.0, points.min()]])

    return np.unique(ConvexHull(points).equations.round(9), axis=0)


class ReachCells(NamedTuple):
    """The cube of all light in cells, and how a hull cuts them.

    There are ``CELLS`` along each gun's light from the margin below 0 to the margin above 1, and one more at either end
    for the light beyond. ``faces`` float32, (n, 4), are outward normals and where light is outside: normal . light >
    last. ``states``, ((CELLS + 2)**3,), red slowest, uint16 or for very many faces uint32, are twice the number
    of each cell's first face, plus 1 where others follow: those after a face that is ``followed``, bool (n,). The first
    two faces are for cells that no face cuts: one never passed, for cells inside, and one always passed, for cells
    outside. Light up to half a step of 8-bit sRGB outside a face lies in cells that the face cuts.
    """

    states: NDArray[np.unsignedinteger]
    faces: Singles
    followed: Flags


@lru_cache(maxsize=8)
def reach_cells(palette: Palette, margin: float) -> ReachCells | None:
    """Cut the cube of all light by the hull of a palette, a margin further out; None where the colours lie in a plane.

    Faces along the lowest and the highest level of each gun cut off the sharp corners of a hull moved outwards.
    """
    reach = reach_of(palette)
    if len(reach.axes) < _GUNS:
        return None
    normals = reach.faces[:, :3] @ reach.axes
    limits = normals @ reach.black - reach.faces[:, 3]
    box = np.concatenate([np.eye(_GUNS), -np.eye(_GUNS)])
    normals = np.concatenate([normals, box])
    limits = np.concatenate([limits, (box @ palette.linear.T).max(axis=1)]) + margin
    edges: Floats = np.linspace(-margin, 1 + margin, CELLS + 1)
    centres, half = (edges[1:] + edges[:-1]) / 2, float(edges[1] - edges[0]) / 2
    rounding = float(half_steps().max())
    outside = np.zeros(CELLS**3, dtype=bool)
    cut = np.zeros((CELLS**3, len(normals)), dtype=bool)
    for number in range(len(normals)):
        normal: Floats = normals[number]
        red, green, blue = normal[:, None] * centres
        middle: Floats = (red[:, None, None] + green[:, None] + blue).ravel() - limits[number]
        reached = float(np.abs(normal).sum())
        spread = reached * half
        outside |= middle > spread + reached * rounding
        cut[:, number] = middle > -spread
    open_cells = np.flatnonzero(cut.any(axis=1) & ~outside)
    lists, numbers = np.unique(cut[open_cells], axis=0, return_inverse=True)
    counts: Ints = lists.sum(axis=1)
    firsts = 2 + np.cumsum(counts) - counts
    inner = np.where(outside, 2 * _OUTSIDE, 2 * _INSIDE)
    inner[open_cells] = (2 * firsts + (counts > 1))[numbers.reshape(-1)]
    states = np.full((CELLS + 2,) * _GUNS, 2 * _OUTSIDE)
    states[1:-1, 1:-1, 1:-1] = inner.reshape((CELLS,) * _GUNS)
    planes = np.column_stack([normals, limits])
    faces = np.concatenate([[_NEVER, _ALWAYS], planes[np.nonzero(lists)[1]]])
    followed = np.ones(len(faces), dtype=bool)
    followed[:2] = False
    followed[firsts + counts - 1] = False
    fitting: type[np.unsignedinteger] = np.uint16 if 2 * len(faces) <= np.iinfo(np.uint16).max else np.uint32
    return ReachCells(states=states.ravel().astype(fitting), faces=faces.astype(np.float32), followed=followed)
