"""Mirroring."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np

from ladderlight import Example, Option, Picture, stage
from ladderlight_stages.framing.demand import as_demanded


@stage(
    help="Mirror a picture, for screens seen in a mirror or from behind.",
    demand=as_demanded,
    example=Example(shows="the spoon is on the left instead of on the right", options={"swap": "left-right"}),
)
def mirror(
    picture: Picture,
    *,
    swap: Annotated[Literal["left-right", "top-bottom", "both"], Option("sides that change places")] = "left-right",
) -> Picture:
    """Mirror a picture; no pixel changes its value."""
    rows = slice(None) if swap == "left-right" else slice(None, None, -1)
    columns = slice(None) if swap == "top-bottom" else slice(None, None, -1)
    return picture.with_pixels(np.ascontiguousarray(picture.pixels[rows, columns]))
