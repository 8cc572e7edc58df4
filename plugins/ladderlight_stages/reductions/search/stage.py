"""Reduction to codes by search: codes are changed and exchanged while that reduces the visible error."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Example, Kept, Option, Picture, Viewing, stage
from ladderlight.units.arrays import Codes
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.halftone.palette_tables import colour_places, unique_colours
from ladderlight_stages.perception.density import at_some_distance, density_from
from ladderlight_stages.perception.measures import (
    FRESH,
    UNSTATED,
    ScreenWidth,
    ViewingDistance,
    viewing_advice,
    with_measures,
)
from ladderlight_stages.perception.reach import nearest_in_principle
from ladderlight_stages.perception.vision import Viewer
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.search.search_loops import search_sweep
from ladderlight_stages.reductions.search.search_model import SearchModel
from ladderlight_stages.refining.area_colours import AreaColours
from ladderlight_stages.refining.polish import polished

_CHANGES_THAT_MATTER = 1 / 2000
"""Share of the pixels; a sweep that changes fewer is the last."""
_COARSE = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
"""Weights of the coarse scales; the first that keeps the colours is taken."""
_ALLOWED = 0.2
"""CIEDE2000 by which colour error may then be above that of error diffusion; refining adds to it."""


@stage(
    help="Reduce to the board's colours by searching for the codes whose error is least visible from a distance.",
    advice=viewing_advice,
    example=Example(
        shows="dots of the board's 64 colours take the place of even tones, spread without any pattern",
        options={"screen_width": "320 mm", "distance": "2.4 m"},
    ),
)
def search(
    picture: Picture,
    board: Board,
    viewing: Viewing = UNSTATED,
    kept: Kept = FRESH,
    *,
    screen_width: ScreenWidth = None,
    distance: ViewingDistance = None,
    sweeps: Annotated[int, Option("most passes over the picture", minimum=1, maximum=100)] = 12,
) -> CodedPicture:
    """Reduce a picture to codes.

    Starts from error diffusion. Pixel by pixel, the code is changed, or exchanged with a neighbour's, where that
    reduces the error, until hardly anything changes or ``sweeps`` are done. The error counts after the eye's blur, so
    that dots do not show, and at full, half and quarter resolution, so that areas keep their colours. The coarse scales
    count as little as keeps the colour error about that of error diffusion: from afar not at all. The result is refined
    by S-CIELAB's error itself; where that shifts colours it is left out, and where nothing is then gained on diffusion,
    diffusion takes the areas that suffer. A picture that is in the board's colours already is unchanged.

    Notes
    -----
    Direct binary search: M. Analoui and J. P. Allebach, Model-based halftoning using direct binary search, Proc. SPIE
    1666 (1992) 96-108. Takes seconds where diffusion takes milliseconds.
    """
    viewing = at_some_distance(viewing.changed(distance=distance, screen_width=screen_width))
    codes = exact_codes(picture.pixels, board.palette)
    if codes is not None:
        return with_measures(picture.coded(codes), picture, board, viewing)
    areas = AreaColours(
        pixels=nearest_in_principle(picture.pixels, board.palette),
        palette=board.palette,
        diffused=diffuse(picture, board, kept=kept).codes,
        aspect=float(board.geometry.pixel_aspect),
    )
    codes = searched(areas, density_from(board, viewing), sweeps)
    return with_measures(picture.coded(kept.over(codes)), picture, board, viewing)


def searched(areas: AreaColours, density: tuple[float, float], sweeps: int) -> Codes:
    """Search for a picture, for a density in pixels per degree across and down."""
    linear, lowest = unique_colours(areas.palette)
    start = colour_places(areas.palette)[areas.diffused]
    found: Codes
    for coarse in _COARSE:
        model = SearchModel(pixels=areas.pixels, linear=linear, density=density, coarse=coarse)
        chosen = _settled(model, start, sweeps)
        found = lowest[chosen]
        if areas.excess(found) <= _ALLOWED:
            break
    refined: Codes = lowest[polished(areas.pixels, linear, chosen, density)]
    viewer = Viewer(reference=areas.pixels, density=density)

    def grain(codes: Codes) -> float:
        return viewer.error(areas.palette.linear[codes]).mean

    best = min((codes for codes in (areas.diffused, found, refined) if areas.keeps(codes)), key=grain)
    return best if best is not areas.diffused else min(best, areas.restrained(refined)[0], key=grain)


def _settled(model: SearchModel, start: NDArray[np.int32], sweeps: int) -> NDArray[np.int32]:
    """Sweep until hardly anything changes."""
    settled, pull = start.copy(), model.pull(start)
    for _ in range(sweeps):
        changes = search_sweep(settled, pull, model.weights, model.colours, model.moves, model.spread)
        if changes <= start.size * _CHANGES_THAT_MATTER:
            break
    return settled
