"""Reduction to the best few of the board's colours."""

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from threading import Lock
from typing import Annotated, Any, Literal

import numpy as np

from ladderlight import (
    Board,
    CodedPicture,
    Example,
    Kept,
    Option,
    Palette,
    Picture,
    PictureError,
    Problem,
    Survey,
    Viewing,
    refuse,
    stage,
)
from ladderlight.board import Finding
from ladderlight.colour.spaces import similarity_from_linear
from ladderlight.units.arrays import Codes, Floats, Ints
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.halftone.palette_loops import PaletteTables
from ladderlight_stages.halftone.palette_tables import make_tables
from ladderlight_stages.perception.measures import MeasuringDistance, ScreenWidth, viewing_advice, with_measures
from ladderlight_stages.reductions.diffuse.kernels import KERNELS
from ladderlight_stages.reductions.diffuse.stage import diffused, diffused_onto
from ladderlight_stages.reductions.nearest import nearest_codes

_MOST = 1024  # most colours, the most frequent, among which a picture's are chosen
_ROUNDS = 8
_COUNT = 16
_LIMIT = 0.25
_choosing = Lock()

Kernels = Literal["floyd_steinberg", "fan", "sierra_light", "stucki", "jarvis_judice_ninke", "atkinson"]


def look(board: Board, options: Mapping[str, Any]) -> Callable[[Any], Ints] | None:
    """Count the colours of all pictures that share a choice, as each of them has them with a choice of its own.

    So a colour of much of one picture counts more than one of a little of each.
    """
    if options["share"] != "all" or options["codes"] is not None:
        return None
    count, keep = options["count"], np.unique(np.array(options["keep"] or [], dtype=np.uint16))

    def own(picture: Picture) -> Ints:
        chosen = best_codes(uses_of(picture, board.palette), board.palette, count, keep)
        codes = _exact(picture, board.palette, chosen)
        if codes is None:
            tables = _tables(board.palette, tuple(chosen.tolist()))
            codes = diffused_onto(picture, tables, KERNELS["floyd_steinberg"], 1.0, serpentine=True)
        return np.bincount(codes.ravel(), minlength=len(board.palette))

    return own


def _advice(animated: bool, board: Board, options: Mapping[str, Any], viewing: Viewing) -> Iterator[Finding]:  # noqa: FBT001
    yield from viewing_advice(animated, board, options, viewing)
    if animated and options["share"] != "all" and options["codes"] is None:
        yield Finding.note(
            "few_colours",
            "each frame of the animation gets colours of its own, so what does not move may change colour from "
            'frame to frame; add share = "all"',
        )


def _rule(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    count, keep, codes, colours = options["count"], options["keep"], options["codes"], len(board.palette)
    given, option = (keep or [], "keep") if codes is None else (codes, "codes")
    wrong = [code for code in given if not 0 <= code < colours]
    if wrong:
        what = f"{option}: the board has no code {wrong[0]}"
        yield Problem(where=(option,), what=what, action=f"use 0 to {colours - 1}")
    if codes is not None and not codes:
        action = "write the codes to use, or leave the option out"
        yield Problem(where=("codes",), what="codes is empty", action=action)
    if codes is None and len(set(given)) > count:
        what = f"keep: {len(set(given))} codes, but count is {count}"
        yield Problem(where=("keep",), what=what, action="raise count or keep fewer")


@stage(
    help="Reduce to the best few of the board's colours, for boards with a colour look-up memory.",
    rule=_rule,
    survey=look,
    advice=_advice,
    example=Example(shows="dots of only eight colours take the place of all tones", options={"count": 8}),
)
def few_colours(
    picture: Picture,
    board: Board,
    viewing: Viewing = Viewing(),
    survey: Survey = Survey(),
    kept: Kept = Kept(),
    *,
    count: Annotated[int, Option("most colours", minimum=1, maximum=4096)] = _COUNT,
    share: Annotated[
        Literal["picture", "all"],
        Option("colours for each picture separately, or one choice for all pictures with this value"),
    ] = "picture",
    keep: Annotated[list[int] | None, Option("codes that are always among them")] = None,
    codes: Annotated[list[int] | None, Option("exactly these codes; replaces count, share and keep")] = None,
    kernel: Annotated[Kernels, Option("kernel that spreads a pixel's error")] = "floyd_steinberg",
    strength: Annotated[float, Option("share of the error that is passed on", minimum=0, maximum=1)] = 1.0,
    scan: Annotated[
        Literal["serpentine", "raster"], Option("direction of rows: every other one backwards, or all forwards")
    ] = "serpentine",
    screen_width: ScreenWidth = None,
    distance: MeasuringDistance = None,
) -> CodedPicture:
    """Reduce a picture to few codes.

    Chooses the colours that represent the picture best, by similarity, then diffuses onto those. With
    `share = "all"` the colours are chosen once, for all pictures of the recipe together: for a look-up memory without
    bank lines, and for animations, whose colours should not change from frame to frame. The manifest has the codes that
    a picture uses. A picture in the chosen colours is unchanged, and so is one that does not share and has at most
    ``count`` of the board's colours.

    Raises PictureError when a code of ``keep`` or ``codes`` is not one of the board's, or there are more of them than
    ``count``.
    """
    palette = board.palette
    refuse(_rule(board, {"count": count, "keep": keep, "codes": codes}), PictureError)
    if codes is not None:
        chosen = np.unique(np.array(codes, dtype=np.uint16))
    else:
        given = np.unique(np.array(keep or [], dtype=np.uint16))
        shared = share == "all" and survey.total is not None
        uses = survey.total if shared else uses_of(picture, palette)
        chosen = _chosen_once(uses, palette, count, given) if shared else best_codes(uses, palette, count, given)
    exact = _exact(picture, palette, chosen)
    if exact is None:
        if kept.codes is not None:
            kept = Kept(codes=np.where(np.isin(kept.codes, chosen), kept.codes, np.int32(-1)))
        tables = _tables(palette, tuple(chosen.tolist()))
        found = diffused_onto(picture, tables, KERNELS[kernel], strength, kept, serpentine=scan == "serpentine")
        coded = picture.coded(kept.over(found))
    else:
        coded = picture.coded(exact)
    noted = coded.with_notes({"codes_chosen": " ".join(str(code) for code in np.unique(coded.codes))})
    return with_measures(noted, picture, board, viewing.changed(distance=distance, screen_width=screen_width))


def _exact(picture: Picture, palette: Palette, chosen: Codes) -> Codes | None:
    codes = exact_codes(picture.pixels, palette)
    return codes if codes is not None and np.isin(np.unique(codes), chosen).all() else None


def _chosen_once(uses: Ints, palette: Palette, count: int, keep: Codes) -> Codes:
    """Return the choice, made once; other threads wait for the first."""
    with _choosing:
        return _chosen(uses.tobytes(), palette, count, tuple(keep.tolist()))


@lru_cache(maxsize=8)
def _chosen(uses: bytes, palette: Palette, count: int, keep: tuple[int, ...]) -> Codes:
    return best_codes(np.frombuffer(uses, dtype=np.int64), palette, count, np.array(keep, dtype=np.uint16))


@lru_cache(maxsize=8)
def _tables(palette: Palette, chosen: tuple[int, ...]) -> PaletteTables:
    colours, first = np.unique(palette.linear[list(chosen)], axis=0, return_index=True)
    return make_tables(colours, np.array(chosen, dtype=np.uint16)[first], _LIMIT)


def uses_of(picture: Picture, palette: Palette) -> Ints:
    """Count the uses of each code in a picture, int64 (codes,); the counts of several pictures add up.

    Each pixel counts for the most similar colour, and once more for that of dithering onto all colours. The former
    alone might leave out the colours around the picture's light: no dithering could then mix it, and a grey picture
    would take on a colour.
    """
    codes = exact_codes(picture.pixels, palette)
    if codes is not None:
        return np.bincount(codes.ravel(), minlength=len(palette))
    alike = nearest_codes(picture.pixels, palette)
    dithered, _ = diffused(picture, palette, KERNELS["floyd_steinberg"])
    return np.bincount(np.concatenate([alike.ravel(), dithered.ravel()]), minlength=len(palette))


def best_codes(uses: Ints, palette: Palette, count: int, keep: Codes) -> Codes:
    """Return the codes, ascending, at most ``count``, whose colours best represent those counted by ``uses_of``.

    Codes to keep are always among them. The choice are medoids of the colours counted: the sum of squared differences
    from each to its nearest chosen colour is small. They are added one by one, then each is exchanged for a better one
    while there is one (L. Kaufman and P. J. Rousseeuw, Finding Groups in Data, Wiley 1990, chapter 2).
    """
    codes = np.sort(np.argsort(-uses, kind="stable")[:_MOST])
    codes = codes[uses[codes] > 0].astype(np.uint16)
    weights = uses[codes].astype(np.float64)
    free = count - len(keep)
    if len(np.union1d(codes, keep)) <= count or free <= 0:
        return np.union1d(codes, keep)[:count] if free > 0 else np.sort(keep)
    points = similarity_from_linear(palette.linear[codes]).astype(np.float64)
    gaps = ((points[:, None] - points) ** 2).sum(axis=-1)
    kept = ((points[:, None] - similarity_from_linear(palette.linear[keep])) ** 2).sum(axis=-1)
    near = kept.min(axis=1, initial=np.inf)
    chosen: list[int] = []
    for _ in range(min(free, len(codes))):
        chosen.append(_best(weights, gaps, near))
        near = np.minimum(near, gaps[:, chosen[-1]])
    for _ in range(_ROUNDS):
        before = list(chosen)
        for place in range(len(chosen)):
            others = gaps[:, chosen[:place] + chosen[place + 1 :]]
            near = np.minimum(kept.min(axis=1, initial=np.inf), others.min(axis=1, initial=np.inf))
            chosen[place] = _best(weights, gaps, near)
        if chosen == before:
            break
    return np.union1d(codes[chosen], keep)


def _best(weights: Floats, gaps: Floats, near: Floats) -> int:
    """Return the colour that reduces the sum most, beside those whose nearest gaps are given."""
    return int((weights[:, None] * np.minimum(near[:, None], gaps)).sum(axis=0).argmin())
