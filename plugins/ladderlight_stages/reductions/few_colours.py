"""Reduction to the best few of the board's colours."""

from __future__ import annotations

from functools import lru_cache
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Example, Option, Palette, Picture, PictureError, Viewing, stage
from ladderlight_stages.measures import UNSTATED, MeasuringDistance, ScreenWidth, with_measures
from ladderlight_stages.reductions.choice import best_codes
from ladderlight_stages.reductions.diffuse import diffused_onto
from ladderlight_stages.reductions.exact import exact_codes
from ladderlight_stages.reductions.kernels import KERNELS
from ladderlight_stages.reductions.palette_tables import PaletteTables, make_tables

_LIMIT = 0.25

Kernels = Literal["floyd_steinberg", "fan", "sierra_light", "stucki", "jarvis_judice_ninke", "atkinson"]


@stage(
    help="Reduce to the best few of the board's colours, for boards with a colour look-up memory.",
    example=Example(options={"count": 8}),
)
def few_colours(
    picture: Picture,
    board: Board,
    viewing: Viewing = UNSTATED,
    *,
    count: Annotated[int, Option("how many colours at most", minimum=1, maximum=4096)] = 16,
    keep: Annotated[list[int] | None, Option("codes that are among them in any case")] = None,
    codes: Annotated[
        list[int] | None, Option("these codes and no others: one choice for all pictures; replaces count and keep")
    ] = None,
    kernel: Annotated[Kernels, Option("which pixels a pixel's error goes to")] = "floyd_steinberg",
    strength: Annotated[float, Option("share of the error that is passed on", minimum=0, maximum=1)] = 1.0,
    scan: Annotated[
        Literal["serpentine", "raster"], Option("every other row backwards, or all rows forwards")
    ] = "serpentine",
    screen_width: ScreenWidth = None,
    distance: MeasuringDistance = None,
) -> CodedPicture:
    """Reduce a picture to few codes.

    Chooses the colours that stand for the picture best, by how alike colours look, then diffuses onto those. The codes
    chosen are noted for the manifest. A picture in no more than so many of the board's colours already is unchanged.

    Raises
    ------
    PictureError
        When a code of ``keep`` or ``codes`` is not one of the board's, or there are more of them than ``count``.
    """
    palette = board.palette
    given = _checked((keep or []) if codes is None else codes, palette, "keep" if codes is None else "codes")
    if codes is None and len(given) > count:
        raise PictureError(f"keep: {len(given)} codes, but count is {count}; raise count or keep fewer")
    found = exact_codes(picture.pixels, palette)
    used = np.unique(found) if found is not None else np.arange(len(palette))
    if found is None or len(np.union1d(used, given)) > (count if codes is None else len(given)):
        chosen = given if codes is not None else best_codes(picture.pixels, palette, count, given)
        found = diffused_onto(
            picture.pixels,
            _tables(palette, tuple(chosen.tolist())),
            KERNELS[kernel],
            strength,
            serpentine=scan == "serpentine",
        )
    coded = picture.coded(found).with_notes({"codes_chosen": " ".join(str(code) for code in np.unique(found))})
    return with_measures(coded, picture, board, viewing.changed(distance=distance, screen_width=screen_width))


@lru_cache(maxsize=8)
def _tables(palette: Palette, chosen: tuple[int, ...]) -> PaletteTables:
    colours, first = np.unique(palette.linear[list(chosen)], axis=0, return_index=True)
    return make_tables(colours, np.array(chosen, dtype=np.uint16)[first], _LIMIT)


def _checked(codes: list[int], palette: Palette, option: str) -> NDArray[np.uint16]:
    wrong = [code for code in codes if not 0 <= code < len(palette)]
    if wrong:
        raise PictureError(f"{option}: the board has no code {wrong[0]}; use 0 to {len(palette) - 1}")
    if option == "codes" and not codes:
        raise PictureError("codes: none are given; name the codes to use, or leave the option out")
    return np.unique(np.array(codes, dtype=np.uint16))
