"""Reduction to codes by error diffusion. What diffuses is imported when it does, so that recipes are checked soon."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Example, Kept, Option, Palette, Picture, Viewing, stage
from ladderlight.units.arrays import Codes
from ladderlight_stages.perception.measures import MeasuringDistance, ScreenWidth, viewing_advice, with_measures
from ladderlight_stages.reductions.diffuse.kernels import (
    KERNELS,
    REACH_AHEAD,
    VARIABLE,
    Kernel,
    kernel_of,
    weights_problems,
)

if TYPE_CHECKING:
    from ladderlight_stages.halftone.palette_loops import PaletteTables

KernelName = Literal[
    "floyd_steinberg",
    "jarvis_judice_ninke",
    "stucki",
    "burkes",
    "sierra",
    "sierra_two_row",
    "sierra_light",
    "atkinson",
    "fan",
    "shiau_fan",
    "shiau_fan_wide",
    "stevenson_arce",
    "ostromoukhov",
    "zhou_fang",
]


@stage(
    help="Reduce to the board's colours by error diffusion, in linear light.",
    advice=viewing_advice,
    rule=weights_problems,
    example=Example(
        shows="fine irregular dots of the board's 64 colours take the place of even tones", options={"kernel": "stucki"}
    ),
)
def diffuse(
    picture: Picture,
    board: Board,
    viewing: Viewing = Viewing(),
    kept: Kept = Kept(),
    *,
    kernel: Annotated[
        KernelName, Option("kernel that spreads a pixel's error; most are named after their authors")
    ] = "fan",
    strength: Annotated[float, Option("share of the error that is passed on", minimum=0, maximum=1)] = 1.0,
    scan: Annotated[
        Literal["serpentine", "raster"], Option("direction of rows: every other one backwards, or all forwards")
    ] = "serpentine",
    weights: Annotated[
        list[list[float]] | None,
        Option("weights of your own kernel: the pixels ahead, then the rows below, each centred; replaces kernel"),
    ] = None,
    divisor: Annotated[
        float | None,
        Option(
            "divisor of the weights, their sum if not given; with a larger one the rest of the error is lost", minimum=0
        ),
    ] = None,
    error_limit: Annotated[
        float,
        Option(
            "furthest that a pixel with its errors may lie beyond the board's colours, as a share of their extent; "
            "only for boards whose guns are not independent",
            minimum=0,
            maximum=2,
        ),
    ] = 0.25,
    screen_width: ScreenWidth = None,
    distance: MeasuringDistance = None,
) -> CodedPicture:
    """Reduce a picture to codes.

    Each pixel takes the nearest colour to its own light plus the errors passed to it, and the rest is passed on. Where
    the guns are independent, each goes to the nearest of its own levels, and light beyond the lowest and highest level
    is cut off first, so that it cannot pile up. Otherwise the nearest colour is found by lightness, red against green
    and blue against yellow, and ``error_limit`` keeps light that no colour can show from bleeding. A picture that is in
    the board's colours already is unchanged.

    The picture counts as mirrored at its edges: some rows are reduced before the first and discarded, so that its dots
    are even from the first row on. The light that would be passed below the last row, beyond what the first received,
    is given back over the last rows.

    ``stevenson_arce`` was published for hexagonal pixels: every other row counts as shifted by half a pixel, which is
    exact for the serpentine scan.

    Raises PictureError when ``weights`` are not those of a kernel.
    """
    from ladderlight_stages.halftone.exact import exact_codes

    clipped = None
    codes = exact_codes(picture.pixels, board.palette)
    if codes is None:
        serpentine = scan == "serpentine"
        if weights is None and kernel in VARIABLE:
            from ladderlight_stages.reductions.diffuse.variable import diffuse_variably

            codes = diffuse_variably(
                picture.pixels, board.palette, kernel, strength, error_limit, serpentine=serpentine
            )
        else:
            shares = kernel_of(weights, divisor) if weights is not None else KERNELS[kernel]
            codes, clipped = diffused(
                picture, board.palette, shares, strength, error_limit, kept, serpentine=serpentine
            )
        codes = kept.over(codes)
    viewing = viewing.changed(distance=distance, screen_width=screen_width)
    return with_measures(picture.coded(codes), picture, board, viewing, clipped=clipped)


def diffused(
    picture: Picture,
    palette: Palette,
    kernel: Kernel,
    strength: float = 1.0,
    error_limit: float = 0.25,
    kept: Kept = Kept(),
    *,
    serpentine: bool = True,
) -> tuple[Codes, int | None]:
    """Return the codes, and the number of clipped pixels where the loop counts them."""
    from ladderlight_stages.halftone.diffusion_loops import diffuse_errors
    from ladderlight_stages.halftone.lattice_tables import fitted, is_grey, lattice_tables
    from ladderlight_stages.halftone.palette_tables import palette_tables

    lattice = lattice_tables(palette)
    if lattice is None:
        tables = palette_tables(palette, error_limit)
        return diffused_onto(picture, tables, kernel, strength, kept, serpentine=serpentine), None
    pixels, stay = fitted(picture.pixels, palette), kept.codes if kept else None
    taps, steps = (*_whole_taps(kernel, strength), serpentine), lattice.half_steps
    codes, clipped = diffuse_errors(pixels, lattice, None, *taps, steps, stay, steps)
    return codes, None if is_grey(palette) else clipped


def diffused_onto(
    picture: Picture, tables: PaletteTables, kernel: Kernel, strength: float, kept: Kept = Kept(), *, serpentine: bool
) -> Codes:
    """Diffuse a picture onto any set of colours."""
    from ladderlight_stages.halftone.diffusion_loops import diffuse_errors
    from ladderlight_stages.halftone.lattice_tables import largest_steps

    pixels = np.require(picture.pixels, np.float32, ["C", "A", "W"])
    steps = largest_steps(tables.colours[:, :3])
    taps = (*_whole_taps(kernel, strength), serpentine, steps // 2)
    stay = None
    if kept.codes is not None and kept:
        places = np.full(max(int(tables.codes.max()), int(kept.codes.max())) + 1, -1, dtype=np.int32)
        places[tables.codes] = np.arange(len(tables.codes))
        stay = np.where(kept.codes < 0, np.int32(-1), places[kept.codes])
    codes, _ = diffuse_errors(pixels, None, tables, *taps, stay, steps)
    return codes


@lru_cache(maxsize=8)
def _whole_taps(kernel: Kernel, strength: float) -> tuple[int, int | None, NDArray[np.int32]]:
    """Return the shares of the next pixel and the one after, and those below: rows down, pixels ahead, share, (n, 3).

    That of the one after is None where the kernel does not reach it. Shares are in units of 2**-SHARE_BITS and add up
    to the kernel's total exactly.
    """
    from ladderlight_stages.halftone.diffusion_loops import SHARE_BITS
    from ladderlight_stages.halftone.error_rows import TOGETHER

    taps = list(kernel.taps())
    exact = np.array([numerator for _, _, numerator in taps]) * (strength * (1 << SHARE_BITS) / kernel.divisor)
    whole = np.floor(exact).astype(np.int32)
    missing = round(kernel.total * strength * (1 << SHARE_BITS)) - int(whole.sum())
    whole[np.argsort(whole - exact, kind="stable")[:missing]] += 1
    ahead = [0] * REACH_AHEAD
    below = []
    for (down, right, _), share in zip(taps, whole, strict=True):
        if down == 0:
            ahead[right - 1] = int(share)
        else:
            below.append((down, right, share))
    below += [(1, 0, 0)] * (-len(below) % TOGETHER)
    return ahead[0], ahead[1] or None, np.array(below, dtype=np.int32).reshape(-1, 3)
