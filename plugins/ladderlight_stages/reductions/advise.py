"""Reduction to codes by the method with the least visible error."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated

from ladderlight import Board, CodedPicture, Example, Kept, Option, Picture, Viewing, stage
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.perception.measures import ScreenWidth, ViewingDistance, viewing_advice, with_measures
from ladderlight_stages.perception.reach import nearest_in_principle
from ladderlight_stages.perception.vision import Viewer, at_some_distance, density_of
from ladderlight_stages.reductions.diffuse.stage import KernelName, diffuse
from ladderlight_stages.reductions.nearest import nearest
from ladderlight_stages.reductions.ordered import Pattern, ordered
from ladderlight_stages.reductions.riemersma import riemersma
from ladderlight_stages.reductions.search import searched
from ladderlight_stages.refining.area_colours import AreaColours

_STRENGTHS = (1.0, 0.75, 0.5)
_KERNELS: tuple[KernelName, ...] = ("floyd_steinberg", "fan", "sierra_light", "stucki", "atkinson", "ostromoukhov")
_PATTERNS: tuple[Pattern, ...] = ("bayer", "blue_noise")
_PATIENT, _IMPATIENT = 60, 8
"""Sweeps of the search."""
_PLAIN = "diffuse floyd_steinberg at 1"  # the method that the manifest compares with


@stage(
    help="Reduce to the board's colours by the method whose error is least visible from a distance.",
    advice=viewing_advice,
    example=Example(
        shows="fine dots of the board's 64 colours take the place of even tones",
        options={"screen_width": "320 mm", "distance": "2.4 m", "patient": False},
    ),
)
def advise(
    picture: Picture,
    board: Board,
    viewing: Viewing = Viewing(),
    kept: Kept = Kept(),
    *,
    screen_width: ScreenWidth = None,
    distance: ViewingDistance = None,
    patient: Annotated[
        bool,
        Option(
            "search with many sweeps, which takes 2 s to 11 s for a picture of 160x120, and longer for larger ones; "
            "otherwise with few, which takes about as long as all other methods together"
        ),
    ] = True,
) -> CodedPicture:
    """Reduce a picture to codes.

    Near the screen single pixels are seen, and coarse dithering is worse; from afar they blend, and it is better. The
    picture is therefore reduced by each method, at several strengths; the visible error of each result is measured with
    S-CIELAB (a colour difference after the eye's blur; its filters are integrated over the pixel, and the picture is
    reflected at its edges) at the distance, and the least is taken. Only results whose areas keep their colours count:
    the mean colour difference after a blur of two pixels must not be clearly above that of error diffusion. The
    manifest has the method and the reason. A picture that is in the board's colours already is unchanged.
    """
    viewing = at_some_distance(viewing.changed(distance=distance, screen_width=screen_width))
    density = density_of(board, viewing)
    wanted = nearest_in_principle(picture.pixels, board.palette)
    viewer = Viewer(reference=wanted, density=density)
    attempts = dict(_attempts(picture, board, kept))
    areas = AreaColours(
        pixels=wanted,
        palette=board.palette,
        diffused=attempts[_PLAIN].codes,
        aspect=float(board.geometry.pixel_aspect),
    )
    plain = [attempts[f"diffuse {kernel} at 1"].codes for kernel in _KERNELS]
    compared = viewer.error(board.palette.linear[attempts[_PLAIN].codes]).mean
    areas = replace(areas, diffused=min(plain, key=areas.error))
    if exact_codes(picture.pixels, board.palette) is None:
        sweeps = _PATIENT if patient else _IMPATIENT
        attempts[f"search, {sweeps} sweeps"] = picture.coded(kept.over(searched(areas, density, sweeps)))
    measured = len(attempts)
    attempts = {name: coded for name, coded in attempts.items() if areas.keeps(coded.codes)}
    errors = {name: viewer.error(board.palette.linear[coded.codes]).mean for name, coded in attempts.items()}
    method = min(errors, key=errors.__getitem__)
    why = (
        f"least visible error at {density[0]:.1f} pixels a degree of {measured} attempts, {measured - len(errors)} of "
        f"which shift colours: {errors[method]:.2f}"
    )
    if method != _PLAIN:
        why += f"; {_PLAIN} {compared:.2f}"
    noted = with_measures(attempts[method], picture, board, viewing)
    return noted.with_notes({"method": method, "why": why})


def _attempts(picture: Picture, board: Board, kept: Kept) -> Iterator[tuple[str, CodedPicture]]:
    yield "nearest", nearest(picture, board, kept=kept)
    for strength in _STRENGTHS:
        for kernel in _KERNELS:
            yield (
                f"diffuse {kernel} at {strength:g}",
                diffuse(picture, board, kept=kept, kernel=kernel, strength=strength),
            )
        for pattern in _PATTERNS:
            yield (
                f"ordered {pattern} at {strength:g}",
                ordered(picture, board, kept=kept, pattern=pattern, strength=strength),
            )
    yield "riemersma", riemersma(picture, board, kept=kept)
