"""Reduction to codes by search: codes are changed and exchanged while that reduces the visible error."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Example, Kept, Option, Palette, Picture, Viewing, stage
from ladderlight.units.arrays import Codes, Singles
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
from ladderlight_stages.reductions.nearest import nearest_codes
from ladderlight_stages.reductions.search.search_loops import search_sweep
from ladderlight_stages.reductions.search.search_model import SearchModel
from ladderlight_stages.refining.area_colours import AreaColours
from ladderlight_stages.refining.polish import polished

_CHANGES_THAT_MATTER = 1 / 2000
"""Share of the pixels; a sweep that changes fewer is the last."""
_ROUNDS = 3
_FAR = 30.0
"""Pixels per degree from which the search does not start from the nearest colours as well."""
_FURTHER = 1.5
"""The search is repeated from so many times the distance when colours suffer: it then blends more and shifts less."""


@stage(
    help="Reduce to the board's colours by searching for the codes whose error is least visible from a distance.",
    advice=viewing_advice,
    example=Example(options={"screen_width": "320 mm", "distance": "2.4 m"}),
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

    Starts from error diffusion and, where single pixels can be seen, from the nearest colours as well. Pixel by pixel,
    the code is changed, or exchanged with a neighbour's, where that reduces the error after the eye's blur,
    until hardly anything changes or ``sweeps`` are done. The picture with the least S-CIELAB error of all is taken, and
    refined by that error itself. A picture that is in the board's colours
    already is unchanged.

    Areas keep their colours: where the mean colour difference after a blur of two pixels would be clearly above that of
    error diffusion, the search is repeated as from further away, and the areas that suffer most are diffused. Their
    share is in the manifest.

    Notes
    -----
    Direct binary search: M. Analoui and J. P. Allebach, Model-based halftoning using direct binary search, Proc. SPIE
    1666 (1992) 96-108. Takes seconds where diffusion takes milliseconds.
    """
    viewing = at_some_distance(viewing.changed(distance=distance, screen_width=screen_width))
    codes = exact_codes(picture.pixels, board.palette)
    if codes is not None:
        return with_measures(picture.coded(codes), picture, board, viewing)
    diffused = diffuse(picture, board, kept=kept).codes
    wanted = nearest_in_principle(picture.pixels, board.palette)
    areas = AreaColours(
        pixels=wanted, palette=board.palette, diffused=diffused, aspect=float(board.geometry.pixel_aspect)
    )
    codes, share = searched_keeping_colours(areas, density_from(board, viewing), sweeps)
    coded = with_measures(picture.coded(kept.over(codes)), picture, board, viewing)
    return coded.with_notes({"diffused_share": round(share, 4)}) if share else coded


def searched_keeping_colours(areas: AreaColours, density: tuple[float, float], sweeps: int) -> tuple[Codes, float]:
    """Search as ``searched`` does, and return the codes and the share of the pixels that diffusion has to provide."""
    pixels, palette, diffused = areas.pixels, areas.palette, areas.diffused
    viewer = Viewer(reference=pixels, density=density)
    found = searched(pixels, palette, diffused, density, sweeps)
    attempts = [areas.restrained(found)]
    if not areas.keeps(found):
        further = (density[0] * _FURTHER, density[1] * _FURTHER)
        attempts.append(areas.restrained(searched(pixels, palette, diffused, further, sweeps)))
    return min(attempts, key=lambda attempt: viewer.error(palette.linear[attempt[0]]).mean)


def searched(
    pixels: Singles,
    palette: Palette,
    diffused: Codes,
    density: tuple[float, float],
    sweeps: int,
) -> Codes:
    """Search for a picture, given its codes by diffusion, for a density in pixels per degree across and down."""
    linear, lowest = unique_colours(palette)
    place = colour_places(palette)
    model = SearchModel(pixels=pixels, linear=linear, density=density)
    attempts = [place[diffused], _settled(model, place[diffused], sweeps)]
    if min(density) < _FAR:
        plain = place[nearest_codes(pixels, palette)]
        attempts += [plain, *_settled_for_large_errors(model, plain, sweeps)]
    best = min(attempts, key=model.visible_error)
    best = min(best, polished(pixels, linear, best, density), key=model.visible_error)
    codes: Codes = lowest[best]
    return codes


def _settled(model: SearchModel, chosen: NDArray[np.int32], sweeps: int) -> NDArray[np.int32]:
    """Return the choice from a start when errors count as small ones, as they do from afar."""
    return _settle(model, chosen, model.weights(chosen, large=False), sweeps)


def _settled_for_large_errors(
    model: SearchModel, chosen: NDArray[np.int32], sweeps: int
) -> Iterator[NDArray[np.int32]]:
    """Yield the choices from a start when errors are weighted by their size, each pass by the errors of the last.

    Weights are averaged with those before, since the passes would oscillate otherwise.
    """
    weights = model.weights(chosen, large=True)
    for _ in range(_ROUNDS):
        chosen = _settle(model, chosen, weights, sweeps)
        yield chosen
        weights = np.sqrt(weights * model.weights(chosen, large=True))


def _settle(model: SearchModel, chosen: NDArray[np.int32], weights: Singles, sweeps: int) -> NDArray[np.int32]:
    """Sweep until hardly anything changes."""
    pull = model.pull(chosen, weights)
    moves = model.moves(weights)
    settled = chosen.copy()
    for _ in range(sweeps):
        changes = search_sweep(settled, pull, weights, model.colours, moves, model.spread)
        if changes <= chosen.size * _CHANGES_THAT_MATTER:
            break
    return settled
