"""Sharpening, after the picture has been resized."""

from typing import Annotated

import numpy as np

from ladderlight import Example, Option, Picture, stage
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.framing import as_demanded
from ladderlight_stages.perception.luminance import luminance_of, relit


@stage(
    help="Sharpen by unsharp masking; put it after resize.",
    demand=as_demanded,
    example=Example(
        shows="the edges of cup and spoon and the grain of the wood are hard and crisp",
        options={"amount": 2.5, "radius": 1.0},
    ),
)
def sharpen(
    picture: Picture,
    *,
    amount: Annotated[float, Option("fine detail to add, as a share of what there is", minimum=0, maximum=5)] = 0.5,
    radius: Annotated[float, Option("size of the detail in pixels", minimum=0.3, maximum=20)] = 0.8,
) -> Picture:
    """Sharpen a picture by unsharp masking of its lightness; colours stay, and edges get no coloured fringes.

    Parameters
    ----------
    picture
        Of the board's size: resizing a larger one afterwards removes most of the effect.
    radius
        Standard deviation of the Gaussian that separates detail from the rest.
    """
    if amount == 0:
        return picture
    from scipy.ndimage import gaussian_filter  # slow to import

    # In encoded values the halves of an edge's halo look alike; in linear light the dark one would be much stronger.
    lightness = srgb_from_linear(luminance_of(picture.pixels))
    detail = lightness - gaussian_filter(lightness, radius, mode="nearest")
    sharp = linear_from_srgb(np.clip(lightness + amount * detail, 0, 1)).astype(np.float32)
    return picture.with_pixels(relit(picture.pixels, sharp))
