"""Reduction to codes without dithering."""

from functools import lru_cache

import numpy as np

from ladderlight import Board, CodedPicture, Example, Frozen, Kept, Palette, Picture, Viewing, stage
from ladderlight.colour.spaces import similarity_from_linear
from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.halftone.exact import exactly_or
from ladderlight_stages.halftone.grid import Grid, make_grid, nearest_members
from ladderlight_stages.halftone.palette_tables import unique_colours
from ladderlight_stages.perception.measures import MeasuringDistance, ScreenWidth, viewing_advice, with_measures

_SIZE = 32


@stage(
    help="Reduce each pixel to the most similar of the board's colours, without dithering.",
    advice=viewing_advice,
    example=Example(shows="flat areas with hard edges take the place of even tones"),
)
def nearest(
    picture: Picture,
    board: Board,
    viewing: Viewing = Viewing(),
    kept: Kept = Kept(),
    *,
    screen_width: ScreenWidth = None,
    distance: MeasuringDistance = None,
) -> CodedPicture:
    """Reduce a picture to codes: for each pixel the most similar colour, the lowest code of several.

    Similarity is distance in OKLab, which is close to the difference that people see, with lightness corrected to
    CIELAB's in the dark.

    A picture that is in the board's colours already is unchanged.
    """
    coded = exactly_or(nearest_codes, picture, board.palette, kept)
    return with_measures(coded, picture, board, viewing.changed(distance=distance, screen_width=screen_width))


def nearest_codes(pixels: Singles, palette: Palette) -> Codes:
    """Return the codes most similar to pixels of linear light, float32 (height, width, 3)."""
    tables = _tables(palette)
    points = similarity_from_linear(np.clip(pixels, 0.0, 1.0)).reshape(-1, 3)
    found = nearest_members(points, tables.colours, tables.low, tables.scale, tables.grid)
    codes: Codes = tables.codes[found].reshape(pixels.shape[:2])
    return codes


class _Tables(Frozen, eq=False):
    colours: Singles
    codes: Codes
    low: Singles
    scale: Singles
    grid: Grid


@lru_cache(maxsize=8)
def _tables(palette: Palette) -> _Tables:
    linear, codes = unique_colours(palette)
    colours = similarity_from_linear(linear)
    # the box holds all of sRGB: its corners are where the opponent axes reach furthest
    corners = similarity_from_linear(np.array([[r, g, b] for r in (0, 1) for g in (0, 1) for b in (0, 1)]))
    low, high = corners.min(axis=0) - 0.01, corners.max(axis=0) + 0.01
    return _Tables(
        colours=colours,
        codes=codes,
        low=low,
        scale=_SIZE / (high - low),
        grid=make_grid(colours, np.eye(3), np.linspace(low, high, _SIZE + 1, axis=1)),
    )
