"""Cropping to the proportions of the screen."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, Demand, Option, Picture, PictureError, stage
from ladderlight_stages.colours import linear_colour
from ladderlight_stages.pictures.proportions import drawn_for, largest_part, screen_aspect, smallest_around

Keep = Literal[
    "centre",
    "top",
    "bottom",
    "left",
    "right",
    "top-left",
    "top-right",
    "bottom-left",
    "bottom-right",
    "all",
]
_EDGES = ("left", "right", "top", "bottom")


def demanded(demand: Demand, board: Board, options: Mapping[str, Any]) -> Demand:
    """Give the size that leaves enough after cropping; all of it where an option counts pixels of the file."""
    left, right, top, bottom = (options.get(edge, 0) for edge in _EDGES)
    if demand.width is None or demand.height is None or max(left, right, top, bottom) >= 1:
        return Demand()
    aspect = screen_aspect(board)
    # The part that is kept has the screen's proportions and as many square pixels as either side asks for.
    width = max(demand.width, demand.height * aspect)
    across, down = 1 - left - right, 1 - top - bottom
    if across <= 0 or down <= 0:
        return Demand()
    return Demand(width=math.ceil(width / across), height=math.ceil(width / aspect / down))


@stage(help="Crop to the board's proportions, or set the whole picture in a border.", demand=demanded)
def crop(
    picture: Picture,
    board: Board,
    *,
    keep: Annotated[Keep, Option("which part stays; all adds a border instead of cutting")] = "centre",
    left: Annotated[float, Option("taken off first: below 1 a share of the width, otherwise pixels", minimum=0)] = 0,
    right: Annotated[float, Option("taken off first: below 1 a share of the width, otherwise pixels", minimum=0)] = 0,
    top: Annotated[float, Option("taken off first: below 1 a share of the height, otherwise pixels", minimum=0)] = 0,
    bottom: Annotated[float, Option("taken off first: below 1 a share of the height, otherwise pixels", minimum=0)] = 0,
    border: Annotated[str, Option("colour of the border: a name or #rrggbb")] = "black",
) -> Picture:
    """Crop a picture of square pixels to the proportions that the board's picture has on the screen.

    Parameters
    ----------
    picture
        Any size.
    board
        Its picture's size and pixel aspect give the proportions.
    keep
        Which part stays: the largest area of those proportions at the centre, an edge or a corner; or ``"all"`` of the
        picture, set in the middle of a border.
    left, right, top, bottom
        Edges to take off first, such as a scanner's rim: below 1 a share of the picture, otherwise pixels of the file.
    border
        The border's colour with ``keep = "all"``.

    Returns
    -------
    Picture
        Its proportions are the screen's, as near as whole pixels allow. A picture drawn for the board, in its own size
        and colours, is given back as it is, even if the board's pixels are not square.

    Raises
    ------
    PictureError
        When the edges leave nothing.
    """
    edges = (left, right, top, bottom)
    if not any(edges) and drawn_for(picture, board):
        return picture
    pixels = _without_edges(picture, edges)
    height, width = pixels.shape[:2]
    aspect = screen_aspect(board)
    if keep == "all":
        return picture.with_pixels(framed(pixels, aspect, linear_colour(border, option="border")))
    x = 0.0 if "left" in keep else 1.0 if "right" in keep else 0.5
    y = 0.0 if "top" in keep else 1.0 if "bottom" in keep else 0.5
    return picture.with_pixels(largest_part(width, height, aspect, x=x, y=y).of(pixels))


def framed(pixels: NDArray[np.float32], aspect: float, colour: NDArray[np.float32]) -> NDArray[np.float32]:
    """Set a picture in the middle of a border that brings it to these proportions.

    Parameters
    ----------
    pixels
        float32, shape (height, width, 3).
    aspect
        Width over height.
    colour
        float32, shape (3,), linear light.
    """
    height, width = pixels.shape[:2]
    new_width, new_height = smallest_around(width, height, aspect)
    canvas = np.empty((new_height, new_width, 3), dtype=np.float32)
    canvas[:] = colour
    y, x = (new_height - height) // 2, (new_width - width) // 2
    canvas[y : y + height, x : x + width] = pixels
    return canvas


def _without_edges(picture: Picture, edges: tuple[float, float, float, float]) -> NDArray[np.float32]:
    height, width = picture.pixels.shape[:2]
    sides = (width, width, height, height)
    left, right, top, bottom = (
        round(edge * side if edge < 1 else edge) for edge, side in zip(edges, sides, strict=True)
    )
    if left + right >= width or top + bottom >= height:
        raise PictureError(
            f"taking {left} and {right} pixels off {width} across and {top} and {bottom} off "
            f"{height} down leaves nothing; take off less"
        )
    return picture.pixels[top : height - bottom, left : width - right]
