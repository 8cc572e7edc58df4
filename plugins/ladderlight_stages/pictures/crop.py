"""Cropping to the proportions of the screen, around the part of a picture that matters most."""

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

import numpy as np

from ladderlight import Board, Demand, Example, Option, Picture, PictureError, Problem, refuse, stage
from ladderlight.board import srgb_from_linear
from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.colours import BLACK, Colour, linear_colour
from ladderlight_stages.framing import (
    Part,
    cut_to,
    drawn_for,
    framed,
    largest_part,
    largest_size,
    part_of,
    screen_aspect,
    shares_around,
)
from ladderlight_stages.perception.luminance import luminance_of
from ladderlight_stages.resampling.resampling import resampled

_SIDE = 160  # pixels of the longer side of the small copy that is measured; more find the same place, more slowly
_NEAR, _FAR = 3, 28
"""Pixels to either side over which detail is averaged: at the place itself, and in its surroundings."""
_FAINT = 0.02  # a step of lightness, in encoded values, of about the noise in a photograph
_LEAST = 0.01  # what a place must stand out by to count at all
_UPWARDS = 0.5
"""How much more detail counts at the top than in the middle, and less at the foot: heads are in the upper half."""
_NOTHING = 1e-6  # pixels; rounding in the window's size
_HEADROOM = 0.04  # share of the window's height that is kept above its place

Keep = Literal[
    "centre",
    "top",
    "bottom",
    "left",
    "right",
    "top-left",
    "top-right",
    "bottom-left",
    "bottom-right",
    "focus",
    "busiest",
    "all",
]
_TO_KEEP = 'choose the part with keep or focus of the stage crop, or keep = "all" for a border'
_EDGES = ("left", "right", "top", "bottom")


def demanded(demand: Demand, board: Board, options: Mapping[str, Any]) -> Demand:
    """Return the size that leaves enough after cropping; the full size where an option counts pixels of the file."""
    left, right, top, bottom = (float(options.get(edge, 0)) for edge in _EDGES)
    focus: tuple[float, float] = options.get("focus") or (0, 0)
    in_pixels = max(left, right, top, bottom) >= 1 or max(focus) > 1
    if demand.width is None or demand.height is None or in_pixels:
        return Demand()
    aspect = screen_aspect(board)
    # The part that is kept has the screen's proportions, and at least the square pixels demanded on either side.
    width = max(demand.width, demand.height * aspect)
    across, down = 1 - left - right, 1 - top - bottom
    if across <= 0 or down <= 0:
        return Demand()
    return Demand(width=math.ceil(width / across), height=math.ceil(width / aspect / down))


def _rule(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    yield from _contradictions(options["keep"], options["focus"])
    for first, second in (_EDGES[:2], _EDGES[2:]):
        one, other = float(options[first]), float(options[second])
        if max(one, other) < 1 <= one + other:
            what = f"{first} {one:g} and {second} {other:g} leave nothing of a picture"
            yield Problem(where=(first,), what=what, action="take off less")


def _contradictions(keep: str, focus: tuple[float, float] | None) -> Iterator[Problem]:
    if keep == "focus" and focus is None:
        yield Problem(
            where=("keep",), what='keep = "focus" needs a point', action="add one, such as focus = [0.5, 0.3]"
        )
    if focus is not None and keep not in ("busiest", "centre", "focus"):
        what = f'keep = "{keep}" does not go with focus'
        yield Problem(where=("focus",), what=what, action="leave one of them out")
    if focus is not None and max(focus) > 1 and any(0 < part < 1 for part in focus):
        what = f"focus = [{focus[0]:g}, {focus[1]:g}] mixes a share of the picture with pixels"
        yield Problem(where=("focus",), what=what, action="write both as shares, at most 1, or both in pixels")


@stage(
    help="Crop to the screen's proportions, or set the whole picture in a border.",
    rule=_rule,
    demand=demanded,
    example=Example(
        shows="the wide picture is cut to the screen's proportions, without its left third",
        options={"keep": "focus", "focus": [0.7, 0.4], "left": 0.3, "top": 0.1},
    ),
)
def crop(
    picture: Picture,
    board: Board,
    *,
    keep: Annotated[
        Keep,
        Option(
            "part to keep; busiest stands out from its surroundings, heads rather than feet, and is the centre for "
            "frames of an animation; all adds a border instead of cutting"
        ),
    ] = "busiest",
    focus: Annotated[
        tuple[float, float] | None,
        Option(
            "point in the picture to centre on, across and down: shares if both are at most 1, else pixels", minimum=0
        ),
    ] = None,
    left: Annotated[float, Option("cut off first, as a share of the width if below 1, else in pixels", minimum=0)] = 0,
    right: Annotated[float, Option("cut off first, as a share of the width if below 1, else in pixels", minimum=0)] = 0,
    top: Annotated[float, Option("cut off first, as a share of the height if below 1, else in pixels", minimum=0)] = 0,
    bottom: Annotated[
        float, Option("cut off first, as a share of the height if below 1, else in pixels", minimum=0)
    ] = 0,
    border: Annotated[Colour, Option("colour of the border: a name or #rrggbb")] = BLACK,
) -> Picture:
    """Crop a picture of square pixels to the proportions that the board's picture has on the screen.

    Raises PictureError when the edges leave nothing, or ``focus`` lies outside the picture, mixes shares with pixels or
    does not go with ``keep``.

    Parameters
    ----------
    keep
        The part to keep: the largest area of those proportions at the centre, an edge or a corner, around the
        ``"focus"``, or over the part that stands out most, ``"busiest"``, the upper half before the lower; or ``"all"``
        of the picture, centred in a border. The frames of an animation keep the centre instead of the busiest part,
        which could move from frame to frame.
    focus
        The point to centre on, as far as the picture's edges allow, from the left and the top of the whole picture:
        shares if both are at most 1, otherwise pixels of the file. ``keep`` may then be left out.
    left, right, top, bottom
        Edges to take off first, such as a scanner's rim: below 1 a share of the picture, otherwise pixels of the file.

    Notes
    -----
    The picture has a caution when more than 15 % is cut off. One drawn for the board, in its size and colours, is
    unchanged even if the board's pixels are not square.
    """
    refuse(_contradictions(keep, focus), PictureError)
    edges = (left, right, top, bottom)
    if not any(edges) and drawn_for(picture, board):
        return picture
    whole_height, whole_width = map(int, picture.pixels.shape[:2])
    rest = _without_edges(whole_width, whole_height, edges)
    picture, aspect = part_of(picture, rest), screen_aspect(board)
    height, width = map(int, picture.pixels.shape[:2])
    if keep == "all":
        return framed(picture, aspect, linear_colour(border))
    if focus is not None:
        across, down = _point(focus, whole_width, whole_height)
        x, y = shares_around(across - rest.left, down - rest.top, width, height, aspect)
    elif keep == "busiest" and not picture.origin.animated:
        x, y = busiest_place(picture.pixels, *largest_size(width, height, aspect))
    else:
        x = 0.0 if "left" in keep else 1.0 if "right" in keep else 0.5
        y = 0.0 if "top" in keep else 1.0 if "bottom" in keep else 0.5
    return cut_to(picture, largest_part(width, height, aspect, x=x, y=y), advice=_TO_KEEP)


def _point(focus: tuple[float, float], width: int, height: int) -> tuple[float, float]:
    if max(focus) <= 1:
        return focus[0] * width, focus[1] * height
    if focus[0] > width or focus[1] > height:
        raise PictureError(
            f"focus = [{focus[0]:g}, {focus[1]:g}] lies outside the picture, which is {width} pixels across and "
            f"{height} down; use a point inside it, or shares"
        )
    return focus


def _without_edges(width: int, height: int, edges: tuple[float, float, float, float]) -> Part:
    sides = (width, width, height, height)
    left, right, top, bottom = (
        round(edge * side if edge < 1 else edge) for edge, side in zip(edges, sides, strict=True)
    )
    if left + right >= width or top + bottom >= height:
        raise PictureError(
            f"taking {left} and {right} pixels off {width} across and {top} and {bottom} off {height} down leaves "
            "nothing; take off less"
        )
    return Part(left=left, top=top, right=width - right, bottom=height - bottom)


def busiest_place(pixels: Singles, width: float, height: float) -> tuple[float, float]:
    """Find the place of a window, no larger than the picture, over what is busier than its surroundings.

    Returns the share of the spare width left of the window, and of the spare height above it; 0.5 where there is none
    to spare. Of equal places the most central.

    Detail is the logarithm of the mean step of lightness around a place, less its mean over wide surroundings, so
    that grass and water count little: as the eye's receptive fields have a centre and a surround (Itti, Koch and
    Niebur, A model of saliency-based visual attention, IEEE Trans. PAMI 20 (1998) 1254-1259).
    """
    old_height, old_width = map(int, pixels.shape[:2])
    if max(old_width - width, old_height - height) < _NOTHING:
        return 0.5, 0.5
    scale = min(1.0, _SIDE / max(old_width, old_height))
    small = resampled(pixels, max(1, round(old_width * scale)), max(1, round(old_height * scale)), "area")
    detail = _detail(srgb_from_linear(luminance_of(small)))
    rows = detail.sum(axis=1)
    rows *= 1 + _UPWARDS * (1 - 2 * (np.arange(len(rows)) + 0.5) / len(rows))
    left, above = _best_share(detail.sum(axis=0), width / old_width), _best_share(rows, height / old_height)
    spare = old_height - height
    if spare > 0 and detail.any():
        above = max(0.0, above - _HEADROOM * height / spare)
    return left, above


def _detail(lightness: Floats) -> Floats:
    """Return how much busier each place is than its surroundings, 0 or more."""
    steps = np.hypot(*(np.diff(lightness, axis=axis, append=lightness.take([-1], axis)) for axis in (0, 1)))
    busy = np.log1p(_mean_around(_mean_around(steps, _NEAR), _NEAR) / _FAINT)
    return np.maximum(busy - _mean_around(_mean_around(busy, _FAR), _FAR) - _LEAST, 0.0)


def _mean_around(values: Floats, reach: int) -> Floats:
    """Return means over squares of ``2 * reach + 1`` places a side, of which those beyond the edges do not count."""
    for axis in (0, 1):
        values = _mean_along(values.T, reach).T if axis else _mean_along(values, reach)
    return values


def _mean_along(values: Floats, reach: int) -> Floats:
    """Return means over columns of ``2 * reach + 1`` places."""
    length, width = map(int, values.shape)
    total = np.zeros((length + 1 + 2 * reach, width))  # the sum of what lies above each place, and beyond the edges
    np.cumsum(values, axis=0, out=total[reach + 1 : reach + 1 + length])
    total[reach + 1 + length :] = total[reach + length]
    place = np.arange(length)
    count = np.minimum(place + reach + 1, length) - np.maximum(place - reach, 0)
    means = total[2 * reach + 1 :] - total[:length]
    means /= count[:, np.newaxis]
    return means


def _best_share(detail: Floats, kept: float) -> float:
    """Return the share of a profile's spare length before the best place of a window."""
    length = max(1, round(len(detail) * kept))
    spare = len(detail) - length
    if spare == 0:
        return 0.5
    total = np.concatenate([[0.0], np.cumsum(detail)])
    inside = total[length:] - total[:-length]
    best = np.flatnonzero(inside >= inside.max() * (1 - 1e-9))
    central = float(best[np.argmin(np.abs(best - spare / 2))])
    return 0.5 if abs(central - spare / 2) <= 0.5 else central / spare
