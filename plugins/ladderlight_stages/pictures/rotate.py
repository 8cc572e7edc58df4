"""Turning: exactly by quarters, and by any angle to level a horizon."""

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np

from ladderlight import WHOLE, Board, Demand, Example, Option, Picture, stage
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.colours import BLACK, Colour, linear_colour

_LONGEST = 3  # proportions up to which the demand always leaves enough


def demanded(demand: Demand, _board: Board, options: Mapping[str, Any]) -> Demand:
    """Return the size before turning, with what is cut off at the corners of pictures up to 3:1."""
    if demand.width is None or demand.height is None:
        return demand
    quarters, rest = _parts(options["angle"])
    width, height = (demand.height, demand.width) if quarters % 2 else (demand.width, demand.height)
    if options.get("corners", "cut") == "cut":
        more = math.cos(rest) + _LONGEST * math.sin(abs(rest))
        width, height = math.ceil(width * more), math.ceil(height * more)
    return Demand(width=width, height=height)


@stage(
    help="Turn a picture clockwise.",
    demand=demanded,
    example=Example(
        shows="the picture is turned anticlockwise by eight degrees, and its corners are cut off", options={"angle": -8}
    ),
)
def rotate(
    picture: Picture,
    *,
    angle: Annotated[float, Option("degrees clockwise", minimum=-360, maximum=360)],
    corners: Annotated[
        Literal["cut", "border"],
        Option("cut the picture until no corner is empty, or fill empty corners with the border colour"),
    ] = "cut",
    border: Annotated[Colour, Option("colour of the border: a name or #rrggbb")] = BLACK,
) -> Picture:
    """Turn a picture clockwise.

    Notes
    -----
    Multiples of 90 degrees move pixels only; any other angle interpolates (cubic splines, in linear light). ``"cut"``
    keeps the largest full part of the picture's proportions, ``"border"`` all of the picture on a larger rectangle.
    """
    quarters, rest = _parts(angle)
    pixels = np.rot90(picture.pixels, -quarters)
    if abs(rest) < 1e-9:
        turned = np.ascontiguousarray(pixels)
        if quarters % 2:
            return picture.with_turned_pixels(turned)
        return picture.with_pixels(turned, (1.0, 1.0, 0.0, 0.0) if quarters % 4 else WHOLE)
    height, width = map(int, pixels.shape[:2])
    cos, sin = math.cos(rest), abs(math.sin(rest))
    high, wide = width * sin + height * cos, width * cos + height * sin  # what encloses it
    if corners == "cut":
        scale = min(width / wide, height / high)
        size = max(1, math.floor(height * scale)), max(1, math.floor(width * scale))
        return picture.with_turned_pixels(_turned(pixels, rest, size))
    size = math.ceil(high), math.ceil(wide)
    cover = _cover(height, width, rest, size)[:, :, np.newaxis]
    filled = linear_colour(border)
    return picture.with_turned_pixels(filled + cover * (_turned(pixels, rest, size) - filled))


def _parts(angle: float) -> tuple[int, float]:
    """Split into quarters of a turn and the rest in radians, at most an eighth of a turn."""
    quarters = round(angle / 90)
    return quarters, math.radians(angle - 90 * quarters)


def _back(height: int, width: int, rest: float, size: tuple[int, int]) -> tuple[Floats, Floats]:
    """Return matrix and offset from row and column of the turned picture to those of the old, about their centres."""
    cos, sin = math.cos(rest), math.sin(rest)
    matrix = np.array([[cos, -sin], [sin, cos]])
    old, new = (np.array((height, width)) - 1) / 2, (np.array(size) - 1) / 2
    return matrix, old - matrix @ new


def _turned(pixels: Singles, rest: float, size: tuple[int, int]) -> Singles:
    from scipy.ndimage import affine_transform  # slow to import, and not needed for quarters

    height, width = map(int, pixels.shape[:2])
    matrix, offset = _back(height, width, rest, size)
    planes = [
        affine_transform(pixels[:, :, gun], matrix, offset, output_shape=size, mode="nearest") for gun in range(3)
    ]
    turned: Singles = np.stack(planes, axis=-1)
    np.clip(turned, 0, 1, out=turned)
    return turned


def _cover(height: int, width: int, rest: float, size: tuple[int, int]) -> Singles:
    matrix, offset = _back(height, width, rest, size)
    places = np.tensordot(matrix, np.indices(size), axes=1) + offset[:, np.newaxis, np.newaxis]
    covers = [np.clip(np.minimum(at + 1, side - at), 0, 1) for at, side in zip(places, (height, width), strict=True)]
    cover: Singles = (covers[0] * covers[1]).astype(np.float32)
    return cover
