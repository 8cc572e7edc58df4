"""Dusk over a picture."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

import numpy as np
import numpy.typing as npt

from ladderlight import Board, Demand, Example, Option, PictureError, Problem, Survey, Viewing, refuse, stage
from ladderlight import Picture as Pic

HELP = "Let dusk fall on all pictures alike."
Light = npt.NDArray[np.float64]


def _problems(depth: float, horizon: float) -> Iterator[Problem]:
    if depth + horizon > 1:
        yield Problem(where=("depth",), what="depth and horizon exceed 1", action="lower one of them")


def _rule(board: Board, options: Mapping[str, Any], viewing: Viewing) -> Iterator[Problem]:
    assert board.palette and viewing.screen_width > 0
    yield from _problems(options["depth"], options["horizon"])


def _same(demand: Demand, board: Board, options: Mapping[str, Any]) -> Demand:
    return demand


def _light(picture: Pic) -> Light:
    return np.array([picture.pixels.sum(), picture.pixels.size], dtype=np.float64)


@stage(
    help=HELP,
    rule=_rule,
    demand=_same,
    survey=lambda board, options: _light,
    example=Example(options={"depth": 0.4}),
)
def dusk(
    picture: Pic,
    survey: Survey,
    *,
    depth: Annotated[float, Option("share of the light that goes", minimum=0, maximum=1)] = 0.25,
    horizon: Annotated[float, Option("height of the horizon, as a share", minimum=0, maximum=1)] = 0.5,
) -> Pic:
    """Darken a picture from its top down to the horizon, the lighter all pictures are, the more."""
    refuse(_problems(depth, horizon), PictureError)
    total, count = survey.total
    rows = np.linspace(0, 1, picture.pixels.shape[0], dtype=np.float32)
    falling = np.clip(1 - rows / max(horizon, 0.001), 0, 1) * depth * (total / count)
    return picture.with_pixels((picture.pixels * (1 - falling)[:, None, None]).astype(np.float32))
