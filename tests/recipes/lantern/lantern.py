"""A stage of this project's own: the light of a lantern."""

from __future__ import annotations

from typing import Annotated

import numpy as np

from ladderlight import Option, Picture, stage


@stage(help="Darken the corners, as if a lantern lit the picture.", demand=lambda demand, board, options: demand)
def lantern(
    picture: Picture,
    *,
    reach: Annotated[float, Option("radius of the light, in picture widths", minimum=0.1, maximum=2)] = 0.5,
) -> Picture:
    """Multiply the light by a cosine-shaped spot around the middle."""
    height, width = picture.pixels.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    distance = np.hypot(x - width / 2, y - height / 2) / width
    light = np.cos(np.clip(distance / reach, 0, 1) * np.pi / 2)
    return picture.with_pixels((picture.pixels * light[:, :, None]).astype(np.float32))
