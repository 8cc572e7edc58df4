"""Tone: exposure, white point, levels, contrast, gamma and saturation."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

import numpy as np

from ladderlight import Board, Example, Option, Picture, PictureError, Problem, refuse, stage
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight.colour.spaces import adaptation
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.colours import WHITE, Colour, linear_colour
from ladderlight_stages.framing import as_demanded
from ladderlight_stages.perception.luminance import XYZ_FROM_LINEAR, coloured, luminance_of


def _rule(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    yield from _contradictions(options["black_level"], options["white_level"], options["white_point"])


def _contradictions(black_level: float, white_level: float, white_point: Colour) -> Iterator[Problem]:
    if black_level >= white_level:
        what = f"black_level {black_level:g} must lie below white_level {white_level:g}"
        yield Problem(where=("black_level",), what=what, action="lower black_level or raise white_level")
    if not linear_colour(white_point).any():
        what = f'white_point = "{white_point}" has no light'
        yield Problem(where=("white_point",), what=what, action="choose the colour of something white in the picture")


@stage(
    help="Set exposure, white point, levels, contrast, gamma and saturation.",
    rule=_rule,
    demand=as_demanded,
    example=Example(
        shows="lights are brighter, shadows are black, and red has turned to a dull pink",
        options={"exposure": 0.5, "black_level": 0.1, "contrast": 1.4, "saturation": 0.6},
    ),
)
def tone(
    picture: Picture,
    *,
    exposure: Annotated[float, Option("stops: 1 doubles the light", minimum=-10, maximum=10)] = 0,
    white_point: Annotated[Colour, Option("colour to make white: a name or #rrggbb")] = WHITE,
    black_level: Annotated[
        float, Option("sRGB value that becomes black, as a share of full", minimum=0, maximum=1)
    ] = 0,
    white_level: Annotated[
        float, Option("sRGB value that becomes white, as a share of full", minimum=0, maximum=1)
    ] = 1,
    contrast: Annotated[
        float, Option("above 1 steepens the middle tones; black and white stay", minimum=0.1, maximum=10)
    ] = 1,
    gamma: Annotated[float, Option("above 1 lightens the middle tones", minimum=0.1, maximum=10)] = 1,
    saturation: Annotated[float, Option("0 is grey, 1 leaves colours unchanged", minimum=0, maximum=10)] = 1,
) -> Picture:
    """Set a picture's tone. The steps follow each other in the order of the options.

    Raises PictureError when the black level is not below the white level, or the white point is black.

    Parameters
    ----------
    white_point
        This colour becomes neutral grey of the same luminance, and all others move with it (Bradford's adaptation).
    contrast
        Slope of an S-shaped curve of sRGB values through black, one half and white; below 1 it flattens.
    gamma
        The sRGB values are raised to 1/gamma.
    saturation
        Multiplies the distance from grey of the same luminance, as far as the colour can be shown.
    """
    refuse(_contradictions(black_level, white_level, white_point), PictureError)
    pixels = picture.pixels
    white = linear_colour(white_point)
    if not (white == white[0]).all():
        pixels = np.clip(pixels @ _adaptation(white).T.astype(np.float32), 0, 1)
    if exposure != 0:
        pixels = np.minimum(pixels * np.float32(2.0**exposure), 1)
    if (black_level, white_level, contrast, gamma) != (0, 1, 1, 1):
        encoded = srgb_from_linear(pixels)
        encoded = np.clip((encoded - black_level) / (white_level - black_level), 0, 1)
        pixels = linear_from_srgb(_contrasted(encoded, contrast) ** (1 / gamma)).astype(np.float32)
    if saturation != 1:
        grey = luminance_of(pixels)
        pixels = coloured(grey, np.float32(saturation) * (pixels - grey[..., np.newaxis]))
    return picture.with_pixels(pixels)


def _contrasted(encoded: Floats, slope: float) -> Floats:
    """Bend about one half: two powers that meet there with the given slope."""
    if slope == 1:
        return encoded
    half = 0.5 * (2 * np.minimum(encoded, 1 - encoded)) ** slope
    bent: Floats = np.where(encoded < 0.5, half, 1 - half)
    return bent


def _adaptation(white: Singles) -> Floats:
    """Return the matrix of linear sRGB that makes a colour neutral and keeps its luminance."""
    seen = XYZ_FROM_LINEAR @ (white / (white @ XYZ_FROM_LINEAR[1]))
    matrix: Floats = np.linalg.inv(XYZ_FROM_LINEAR) @ adaptation(seen, XYZ_FROM_LINEAR @ np.ones(3)) @ XYZ_FROM_LINEAR
    return matrix
