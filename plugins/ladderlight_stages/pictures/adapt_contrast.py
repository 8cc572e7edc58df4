"""Adaptive contrast: more where a picture is flat."""

from typing import Annotated

import numpy as np

from ladderlight import Example, Option, Picture, stage
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.framing import as_demanded
from ladderlight_stages.perception.luminance import luminance_of, relit


@stage(
    help="Bring out detail where a picture is flat or dark, by contrast-limited adaptive histogram equalisation.",
    demand=as_demanded,
    example=Example(
        shows="the dark wood shows its grain, and cup and saucer have more contrast",
        options={"strength": 0.6, "limit": 0.02},
    ),
)
def adapt_contrast(
    picture: Picture,
    *,
    strength: Annotated[
        float, Option("0 leaves the picture unchanged, 1 is the full effect", minimum=0, maximum=1)
    ] = 0.5,
    limit: Annotated[float, Option("most contrast to add; more also brings out noise", minimum=0, maximum=1)] = 0.01,
    areas: Annotated[
        int, Option("number of areas across and down, each with its own contrast", minimum=1, maximum=64)
    ] = 8,
) -> Picture:
    """Raise the contrast of lightness in each part of a picture separately; colours stay.

    Notes
    -----
    Contrast-limited adaptive histogram equalisation (Zuiderveld, Graphics Gems IV, 1994), by
    ``skimage.exposure.equalize_adapthist``, on sRGB-encoded luminance. ``limit`` is the clip limit of its histograms,
    as a share of the pixels.
    """
    from skimage.exposure import equalize_adapthist  # slow to import

    height, width = map(int, picture.pixels.shape[:2])
    if strength == 0 or min(height, width) < 2:
        return picture
    lightness = srgb_from_linear(luminance_of(picture.pixels))
    span = float(np.ptp(lightness))
    if span == 0:
        return picture
    area = (max(1, height // areas), max(1, width // areas))
    # The filter stretches its input to the full range, but plain paper must not turn black.
    levelled = equalize_adapthist((lightness - lightness.min()) / span, kernel_size=area, clip_limit=limit)
    mixed = lightness + strength * (levelled * span + lightness.min() - lightness)
    return picture.with_pixels(relit(picture.pixels, linear_from_srgb(np.clip(mixed, 0, 1)).astype(np.float32)))
