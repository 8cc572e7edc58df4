"""Reduction to codes by diffusion along a curve that fills the picture."""

from functools import lru_cache
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Example, Kept, Option, Palette, Picture, Viewing, stage
from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.halftone.exact import exactly_or
from ladderlight_stages.halftone.lattice_tables import is_grey
from ladderlight_stages.halftone.palette_steps import follow
from ladderlight_stages.halftone.palette_tables import palette_tables
from ladderlight_stages.perception.luminance import LUMINANCE
from ladderlight_stages.perception.measures import MeasuringDistance, ScreenWidth, viewing_advice, with_measures

_LIMIT = 0.5


@stage(
    help="Reduce to the board's colours by error diffusion along Hilbert's curve, which leaves no trails of dots.",
    advice=viewing_advice,
    example=Example(shows="short curls of dots in the board's 64 colours take the place of even tones"),
)
def riemersma(
    picture: Picture,
    board: Board,
    viewing: Viewing = Viewing(),
    kept: Kept = Kept(),
    *,
    length: Annotated[int, Option("number of the last errors that count", minimum=1, maximum=64)] = 16,
    ratio: Annotated[
        float, Option("weight of the oldest of them, as a share of that of the newest", minimum=0.001, maximum=1)
    ] = 0.0625,
    strength: Annotated[float, Option("share of the error that is passed on", minimum=0, maximum=1)] = 1.0,
    screen_width: ScreenWidth = None,
    distance: MeasuringDistance = None,
) -> CodedPicture:
    """Reduce a picture to codes. A picture that is in the board's colours already is unchanged.

    Notes
    -----
    T. Riemersma, A balanced dithering technique, C/C++ Users Journal 16 (1998) 51-58: Hilbert's curve, and weights that
    fall off exponentially over the last 16 errors, to a sixteenth. Here the weights add up to one, so that the
    mean level is kept.
    """
    weights = ratio ** (np.arange(length) / max(length - 1, 1))
    weights = weights / weights.sum() * strength

    def reduce(pixels: Singles, palette: Palette) -> Codes:
        if is_grey(palette):
            pixels = np.repeat((pixels @ LUMINANCE)[..., None], 3, axis=2)
        writable = np.require(pixels, np.float32, ["C", "A", "W"])
        codes: Codes = follow(writable, hilbert_path(*pixels.shape[:2]), weights, palette_tables(palette, _LIMIT))
        return codes

    coded = exactly_or(reduce, picture, board.palette, kept)
    return with_measures(coded, picture, board, viewing.changed(distance=distance, screen_width=screen_width))


@lru_cache(maxsize=4)
def hilbert_path(height: int, width: int) -> NDArray[np.int32]:
    """Return Hilbert's curve through a picture, int32 (height * width,), as indices into the flattened picture.

    The curve fills the smallest square of a power of two around the picture; its parts outside are left out.
    """
    order = max(height, width, 1)
    side = 1
    x, y = np.zeros(1, dtype=np.int32), np.zeros(1, dtype=np.int32)
    while side < order:
        # four copies: the first and the last are mirrored at the diagonals
        x, y = (
            np.concatenate([y, x, x + side, 2 * side - 1 - y]),
            np.concatenate([x, y + side, y + side, side - 1 - x]),
        )
        side *= 2
    inside = (x < width) & (y < height)
    return (y[inside] * np.int32(width) + x[inside]).astype(np.int32)
