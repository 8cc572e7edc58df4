"""Mirroring."""

from typing import Annotated, Literal

import numpy as np

from ladderlight import Example, Option, Picture, stage
from ladderlight_stages.framing import as_demanded


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
    left, right = (0.0, 1.0) if swap == "top-bottom" else (1.0, 0.0)
    top, bottom = (0.0, 1.0) if swap == "left-right" else (1.0, 0.0)
    return picture.with_pixels(np.ascontiguousarray(picture.pixels[rows, columns]), (left, top, right, bottom))
