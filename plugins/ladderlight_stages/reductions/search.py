"""Reduction to codes by search: codes are changed and exchanged while that reduces the visible error."""

from dataclasses import replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Example, Kept, Option, Picture, Viewing, stage
from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.halftone.palette_tables import colour_places, unique_colours
from ladderlight_stages.perception.measures import ScreenWidth, ViewingDistance, viewing_advice, with_measures
from ladderlight_stages.perception.reach import nearest_in_principle
from ladderlight_stages.perception.vision import at_some_distance, density_of
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.refining.annealing import FAR, annealed
from ladderlight_stages.refining.area_colours import AreaColours
from ladderlight_stages.refining.visible_error import VisibleError

_FIRST, _ROUNDS = 6, 9
"""Tries that find the weights of areas that suffer, and those that then bring back their colours, at most: each with a
sixth of the sweeps, but at least five. Of the first there is one for every ten sweeps."""
_MOST = 1000.0  # weight of areas that suffer, at most: with more, hardly anything else counts there
_WARM = 0.1  # temperature of the later tries, which begin with the last one's result
_SUFFERING = 0.8
"""CIEDE2000 above diffusion's around a pixel, from which a try begins with diffusion's codes there; to the power of the
tries before, so that more begins anew with each."""
_DENSEST = 60.0
"""Pixels per degree to which annealing follows the eye's blur well. From further away, the picture for that distance is
taken: there its dots show even less."""


@stage(
    help="Reduce to the board's colours by searching for the codes whose error is least visible from a distance.",
    advice=viewing_advice,
    example=Example(
        shows="dots of the board's 64 colours take the place of even tones, spread without any pattern",
        options={"screen_width": "320 mm", "distance": "2.4 m", "sweeps": 10},
    ),
)
def search(
    picture: Picture,
    board: Board,
    viewing: Viewing = Viewing(),
    kept: Kept = Kept(),
    *,
    screen_width: ScreenWidth = None,
    distance: ViewingDistance = None,
    sweeps: Annotated[
        int, Option("passes over the picture; more find a little better codes", minimum=1, maximum=1000)
    ] = 60,
) -> CodedPicture:
    """Reduce a picture to codes.

    Starts from error diffusion. Pixel by pixel a code is changed, or exchanged with a neighbour's, at random: first
    also where that increases the error, later hardly ever. The error is S-CIELAB's, the difference after the eye's
    blur, so that dots do not show, and beside it that of areas at full, half and quarter resolution, so that these keep
    their colours. Short searches find the areas whose colours shift more than by error diffusion, and these count more
    in the long one; where colours still shift, it goes on from diffusion's codes, with those areas counting more again,
    and the worst places that then remain are left to diffusion. A picture that is in the board's colours already is
    unchanged.

    Notes
    -----
    Model-based halftoning: M. Analoui and J. P. Allebach, Model-based halftoning using direct binary search, Proc. SPIE
    1666 (1992) 96-108; here by annealing. Takes seconds where diffusion takes milliseconds.
    """
    viewing = at_some_distance(viewing.changed(distance=distance, screen_width=screen_width))
    codes = exact_codes(picture.pixels, board.palette)
    if codes is not None:
        return with_measures(picture.coded(codes), picture, board, viewing)
    areas = AreaColours(
        pixels=nearest_in_principle(picture.pixels, board.palette),
        palette=board.palette,
        diffused=diffuse(picture, board, kept=kept, kernel="floyd_steinberg").codes,
        aspect=float(board.geometry.pixel_aspect),
    )
    codes = searched(areas, density_of(board, viewing), sweeps)
    return with_measures(picture.coded(kept.over(codes)), picture, board, viewing)


def searched(areas: AreaColours, density: tuple[float, float], sweeps: int) -> Codes:
    """Search for a picture, for a density in pixels per degree across and down."""
    linear, lowest = unique_colours(areas.palette)
    share = min(1.0, _DENSEST / max(density))
    seen_from = (density[0] * share, density[1] * share)
    error = VisibleError(pixels=areas.pixels, linear=linear, density=seen_from, aspect=areas.aspect)
    places = colour_places(areas.palette)
    diffused = places[areas.diffused]
    power = 1 if max(density) < FAR else 2
    weights, few = np.ones(diffused.shape, dtype=np.float32), max(sweeps // 6, 5)

    def suffering(chosen: NDArray[np.int32]) -> Singles | None:
        if areas.keeps(lowest[chosen]):
            return None
        excess = areas.excess(lowest[chosen])
        np.minimum(weights * (1 + excess) ** power, _MOST, out=weights)
        return excess

    for _ in range(min(sweeps // 10, _FIRST)):
        if suffering(annealed(replace(error, areas=weights), diffused, few)) is None:
            break
    chosen = annealed(replace(error, areas=weights), diffused, sweeps)
    for tried in range(_ROUNDS):
        if (excess := suffering(chosen)) is None:
            break
        begun = np.where(excess > _SUFFERING**tried, diffused, chosen)
        chosen = annealed(replace(error, areas=weights), begun, few, hot=_WARM)
    found = (areas.restrained(lowest[chosen]), areas.diffused)
    return min(found, key=lambda codes: error.mean(places[codes]))
