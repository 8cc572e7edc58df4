"""Fitting pictures into the colours of a board."""

from typing import Annotated

import numpy as np

from ladderlight import Board, Example, Option, Picture, stage
from ladderlight.units.arrays import Floats
from ladderlight_stages.framing import as_demanded
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.perception.luminance import LUMINANCE
from ladderlight_stages.perception.reach import Reach, reach_of


@stage(
    help="Bring a picture's colours into the range that the board can show, without clipping.",
    demand=as_demanded,
    example=Example(shows="reds and oranges are paler, so that the board can show them", board="intensity"),
)
def fit_gamut(
    picture: Picture,
    board: Board,
    *,
    strength: Annotated[float, Option("0 leaves the picture unchanged, 1 fits it in full", minimum=0, maximum=1)] = 1,
) -> Picture:
    """Bring a picture into the colours that a board can show or mix.

    Black becomes the board's black, white its white, and light in between stays in proportion. Colours that
    still cannot be mixed from the palette move towards grey of the same luminance until they can be. Dithering then
    never meets light that it cannot spread: shadows and highlights keep their detail, and nothing bleeds.

    Notes
    -----
    With ``strength = 1`` every pixel is a mean of palette colours, to within rounding. A picture that is in the board's
    colours already is unchanged.
    """
    if exact_codes(picture.pixels, board.palette) is not None:
        return picture
    pixels = picture.pixels.reshape(-1, 3).astype(np.float64)
    fitted = _fit(reach_of(board.palette), pixels).reshape(picture.pixels.shape)
    mixed = picture.pixels + strength * (fitted - picture.pixels)
    return picture.with_pixels(np.clip(mixed, 0, 1).astype(np.float32))


def _fit(reach: Reach, pixels: Floats) -> Floats:
    """Move pixels, float64, shape (n, 3), into what can be mixed."""
    span = reach.white - reach.black
    grey = (pixels @ LUMINANCE)[:, np.newaxis] * span
    placed = grey if len(reach.axes) < 2 else pixels * span
    start, way = grey @ reach.axes.T, (placed - grey) @ reach.axes.T
    share = np.ones(len(pixels))
    for face in reach.faces:
        ahead = way @ face[:-1]
        room = -(start @ face[:-1] + face[-1])
        np.minimum(share, np.divide(room, ahead, out=np.ones_like(share), where=ahead > 1e-12), out=share)
    inside = start + np.clip(share, 0, 1)[:, np.newaxis] * way
    moved: Floats = reach.black + inside @ reach.axes
    return moved
