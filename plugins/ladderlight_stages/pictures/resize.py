"""Resizing to the board's picture."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np

from ladderlight import WHOLE, Board, Demand, Example, Option, Picture, stage
from ladderlight_stages.colours import BLACK, Colour, linear_colour
from ladderlight_stages.framing import cut_to, enlargement, framed, largest_part, screen_aspect, within_a_pixel
from ladderlight_stages.resampling.resampling import Method, resampled

_TO_KEEP = 'add the stage crop before resize, or use fit = "contain" for a border'
MARGIN = 2
"""The least size of a picture in each direction, in multiples of the board's.

A JPEG's decoder reduces by leaving out the finest frequencies, in encoded values. At twice the board's size all that
the board can show is left, and an octave above for the kernel. Only the finest detail mixes differently than after a
full decode: in encoded values, not in linear light. On photographs the mean CIEDE2000 of that is 0.1 to 0.8, far below
the step between two of a board's colours; for a sky of single stars it is 1.
"""


def demanded(_demand: Demand, board: Board, options: Mapping[str, Any]) -> Demand:
    """Return twice the board's size, or the full size when single pixels are picked."""
    if options.get("method") == "nearest":
        return Demand()
    return Demand(width=MARGIN * board.geometry.width, height=MARGIN * board.geometry.height)


@stage(
    help="Resize to the board's picture size, in linear light.",
    demand=demanded,
    example=Example(shows="the picture is reduced to 160 by 120 coarse pixels", options={"method": "area"}),
)
def resize(
    picture: Picture,
    board: Board,
    *,
    method: Annotated[
        Method, Option("combination of pixels: lanczos is sharpest, area the plain mean, nearest picks single pixels")
    ] = "lanczos",
    fit: Annotated[
        Literal["cover", "contain", "stretch"],
        Option("for pictures of other proportions than the screen's: cut, add a border, or distort"),
    ] = "cover",
    border: Annotated[Colour, Option("colour of the border: a name or #rrggbb")] = BLACK,
) -> Picture:
    """Resize a picture of square pixels to the board's pixels, in linear light.

    Notes
    -----
    A picture of the screen's proportions, within a pixel, is simply scaled. The pixels of a picture of the board's
    size, or of one enlarged from it by repeating pixels, are unchanged bit for bit.
    """
    factors = enlargement(picture, board)
    if factors == (1, 1):
        return picture
    if factors is not None:
        return picture.with_pixels(np.ascontiguousarray(picture.pixels[:: factors[1], :: factors[0]]), WHOLE)
    height, width = map(int, picture.pixels.shape[:2])
    aspect = screen_aspect(board)
    if fit != "stretch" and not within_a_pixel(width, height, aspect):
        if fit == "contain":
            picture = framed(picture, aspect, linear_colour(border))
        else:
            picture = cut_to(picture, largest_part(width, height, aspect), advice=_TO_KEEP)
    new = resampled(picture.pixels, board.geometry.width, board.geometry.height, method)
    return picture.with_pixels(new.clip(0, 1, out=new), WHOLE)
