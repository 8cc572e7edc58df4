"""Figures for the manifest of what a reduction did to a picture.

What measures is imported when it does: a recipe that is only checked needs the options here alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import inf
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Frozen, Option, Palette, Picture, Viewing
from ladderlight.board import Finding
from ladderlight.colour.spaces import LUMINANCE, lightness_of
from ladderlight.units.arrays import Codes

if TYPE_CHECKING:
    from ladderlight_stages.perception.comparison import Difference

ScreenWidth = Annotated[
    float | None,
    Option("width of the visible picture, if not that of the recipe's [viewing]", minimum=0.01, maximum=100, unit="m"),
]
ViewingDistance = Annotated[
    float | None,
    Option(
        "from eye to screen, if not that of the recipe's [viewing]; 60 cm without either",
        minimum=0.05,
        maximum=1000,
        unit="m",
    ),
]
MeasuringDistance = Annotated[
    float | None,
    Option(
        "from eye to screen, if not that of the recipe's [viewing]; with either, the manifest has the grain",
        minimum=0.05,
        maximum=1000,
        unit="m",
    ),
]
COLOUR_WORDS = {1.0: "not seen", 2.0: "seen by experts", 3.5: "seen", 5.0: "plain", inf: "another colour"}
"""W. S. Mokrzycki and M. Tatol, Colour difference Delta E: a survey, Machine Graphics and Vision 20 (2011) 383-411, for
patches side by side. The limits are for CIELAB's older difference; their use for CIEDE2000 is common practice."""
GRAIN_WORDS = {1.0: "smooth", 5.0: "fine", 10.0: "visible", inf: "coarse"}
"""Our own, no source; a difference below 1 is not seen."""
_SURROUNDINGS = 9  # pixels across and down that are averaged to find whether a picture changes at a place
_MOST_BY_HULL = 320 * 240  # of pictures with more pixels, about so many are checked
_STILL = 1.0  # L*: about the least step in lightness that is seen


def viewing_advice(
    animated: bool,  # noqa: ARG001, FBT001 - the hook is given it
    board: Board,  # noqa: ARG001
    options: Mapping[str, Any],
    viewing: Viewing,
) -> Iterator[Finding]:
    """Yield what is missing for the grain, when neither recipe nor stage has a distance."""
    if viewing.distance is None and options["distance"] is None:
        yield Finding.note(
            "viewing",
            "no viewing distance is set, so the manifest will lack the grain of the reduction; "
            'add [viewing] with distance = "1.5 m" and the screen_width',
        )


def with_measures(
    coded: CodedPicture, picture: Picture, board: Board, viewing: Viewing, *, clipped: int | None = None
) -> CodedPicture:
    """Return a coded picture with the metrics of its reduction.

    ``colour_error`` is CIEDE2000 after a Gaussian blur of two pixels in linear light: the areas, whatever dots they are
    made of. Of pictures of 320x240 and more every second to fourth pixel across and down is compared, with which the
    mean is within 1 % (see ``step_for``). ``grain`` is CIEDE2000 after the eye's blur (S-CIELAB, its filters integrated
    over the pixel and the picture reflected at its edges), when the distance is known. Both have ``mean``, ``p95`` and,
    of the mean, ``in_words``; they compare with what the board could show if it had all levels, on a grey board with
    luminance. ``clipped_share`` is the share of pixels with light that the board can neither show nor mix from its
    colours; ``colours_used`` counts different colours.

    Parameters
    ----------
    coded, picture
        After and before the reduction.
    board, viewing
        The board, and the place from which its screen is seen.
    clipped
        The number of pixels with such light, when the reduction has counted them.
    """
    from ladderlight_stages.perception.areas import Areas, step_for
    from ladderlight_stages.perception.comparison import summary
    from ladderlight_stages.perception.reach import nearest_in_principle

    if clipped is None:
        clipped = clipped_pixels(picture.pixels, board.palette)
    wanted = nearest_in_principle(picture.pixels, board.palette)
    areas = Areas(reference=wanted, aspect=float(board.geometry.pixel_aspect), step=step_for(coded.codes.size))
    metrics: dict[str, Any] = {
        "colour_error": in_words(summary(areas.differences_of(coded.codes, board.palette.linear)), COLOUR_WORDS),
        "clipped_share": round(clipped / coded.codes.size, 4),
        "colours_used": colours_used(coded.codes, board.palette),
    }
    if viewing.distance is not None:
        from ladderlight_stages.perception.vision import Viewer, density_of

        density = density_of(board, viewing)
        viewer = Viewer(reference=wanted, density=density)
        metrics["grain"] = in_words(viewer.error(board.palette.linear.astype(np.float32)[coded.codes]), GRAIN_WORDS)
        metrics["pixels_per_degree"] = round(density[0], 2)
    return coded.with_metrics(metrics)


def in_words(difference: Difference, words: Mapping[float, str]) -> dict[str, float | str]:
    """Return a measure for the manifest. The keys of ``words`` are means below which each applies, ascending."""
    word = next((word for limit, word in words.items() if difference.mean < limit), words[inf])
    return {"mean": round(difference.mean, 3), "p95": round(difference.p95, 3), "in_words": word}


class Flicker(Frozen):
    """Changes from each frame to the next, as means over all frames, from the last to the first included.

    ``changed`` is the share of pixels that change, ``jump`` the mean change of lightness over all pixels (CIELAB L*, 0
    to 100), and ``unmoved`` the share of pixels that change although the picture there does not: the lightness of their
    surroundings stays. That is the flicker of a dithering that is not stable in time.
    """

    changed: float
    jump: float
    unmoved: float


def flicker(frames: Sequence[CodedPicture], palette: Palette) -> Flicker:
    """Measure the changes from frame to frame, and how much of them is dithering alone."""
    from scipy.ndimage import uniform_filter  # slow to import

    luminance = palette.linear @ LUMINANCE
    lightness = lightness_of(luminance)
    around = [lightness_of(uniform_filter(luminance[frame.codes], size=_SURROUNDINGS)) for frame in frames]
    changed, jump, unmoved = [], [], []
    for number, frame in enumerate(frames):
        following = (number + 1) % len(frames)
        codes = frames[following].codes
        changes = frame.codes != codes
        still = np.abs(around[number] - around[following]) < _STILL
        changed.append(float(changes.mean()))
        jump.append(float(np.abs(lightness[frame.codes] - lightness[codes]).mean()))
        unmoved.append(float((changes & still).mean()))
    return Flicker(changed=float(np.mean(changed)), jump=float(np.mean(jump)), unmoved=float(np.mean(unmoved)))


def clipped_pixels(pixels: NDArray[np.floating], palette: Palette) -> int:
    """Count the pixels, (height, width, 3) of linear light, that a board can neither show nor mix from its colours.

    Where the guns are independent, that is light beyond a gun's darkest or lightest level; on a grey board luminance
    beyond that of its greys; otherwise light outside the convex hull of the colours, or, where these lie in a plane,
    beyond a gun's levels again. Half a step of 8-bit sRGB is allowed: files hold colours that the board can show to
    that accuracy. The hull takes several times as long, so only every second row or fewer of large pictures are
    counted, and the number is an estimate.
    """
    from ladderlight_stages.halftone.lattice_tables import is_grey
    from ladderlight_stages.halftone.tally_loops import count_beyond, count_beyond_light, count_outside
    from ladderlight_stages.perception.luminance import BEYOND, half_steps, tolerated
    from ladderlight_stages.perception.reach import CELLS, reach_cells

    light = np.require(pixels, np.float32, ["C", "A", "W"])
    if palette.lattice is None and not is_grey(palette) and (cells := reach_cells(palette, BEYOND)) is not None:
        step = max(1, light[..., 0].size // _MOST_BY_HULL)
        found = count_outside(light, step, CELLS, BEYOND, cells, half_steps())
        return round(found * len(light) / len(range(0, len(light), step)))
    low, high = tolerated(palette.linear.min(axis=0), palette.linear.max(axis=0))
    if is_grey(palette):
        return count_beyond_light(light, LUMINANCE.astype(np.float32), float(low[0]), float(high[0]))
    return count_beyond(light, low.astype(np.float32), high.astype(np.float32))


def colours_used(codes: Codes, palette: Palette) -> int:
    """Count the different colours of codes, (height, width); codes of one colour count once."""
    from ladderlight_stages.halftone.palette_tables import colour_places
    from ladderlight_stages.halftone.tally_loops import count_colours

    return count_colours(np.require(codes, np.uint16, ["C", "A", "W"]), colour_places(palette))
