"""Reading picture files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight import Demand, Example, Option, Origin, Picture, PictureError, stage
from ladderlight_stages.colours import BLACK, Colour, linear_colour
from ladderlight_stages.sources.decode import Samples, decoded_frame, samples_of_page
from ladderlight_stages.sources.files import frame_duration, frame_numbers, open_picture, reduce_scale
from ladderlight_stages.sources.samples import block_means, block_side, linear_pixels, over_matte
from ladderlight_stages.sources.tiff import decoded_page, is_foreign, page_numbers


@stage(
    help="Read a picture file: PNG, JPEG, GIF, WebP, TIFF, BMP or PPM. Floats in a TIFF count as linear light.",
    example=Example(options={"matte": "steelblue"}),
)
def read(
    path: Path,
    demand: Demand,
    *,
    matte: Annotated[Colour, Option("colour behind transparent parts: a name or #rrggbb")] = BLACK,
    frames: Annotated[Literal["all", "first"], Option("which frames of an animation or pages of a document")] = "all",
    every: Annotated[int, Option("take one frame of so many: 2 takes every other one", minimum=1)] = 1,
    page: Annotated[int | None, Option("take this frame or page only, counted from 1", minimum=1)] = None,
    scale: Annotated[
        Literal["demanded", "full"],
        Option(
            "read large pictures only as large as the next stages need, or in full size; a JPEG's decoder averages "
            "encoded values, so that fine stark patterns come out darker unless it is full"
        ),
    ] = "demanded",
    profile: Annotated[
        Literal["use", "ignore"], Option("whether the colours follow the profile in the file, if it has one")
    ] = "use",
) -> list[Picture]:
    """Read a picture file into linear light.

    Parameters
    ----------
    path
        A PNG, JPEG, GIF, WebP, TIFF, BMP or PPM (PBM, PGM) file.
    demand
        The least size wanted. A JPEG is decoded at 1/2, 1/4 or 1/8 where that still gives it; of other files, blocks of
        pixels are averaged in linear light where that leaves twice as much.
    matte
        Transparent parts are laid over this colour, in linear light.
    frames, every, page
        Which frames of an animation, or pages of a TIFF. A frame's duration is in ``origin.duration``; with ``every``
        it includes the frames left out. ``page`` overrides the other two.
    scale
        A JPEG's decoder averages encoded values where it reduces a picture, so that fine stark patterns come out
        darker: black and white stripes of 4 pixels, reduced eightfold, give 0.22 of the light instead of 0.50.
        ``"full"`` avoids that, and takes several times as long and as much memory. Other files are averaged in linear
        light.
    profile
        ``"use"``: the embedded profile is converted to sRGB, with perceptual intent and black-point compensation.
        So are the curve and primaries that a PNG states in cICP, gAMA and cHRM. Pictures without are taken as sRGB.

    Returns
    -------
    list of Picture
        One for each frame: upright, float32, linear light, 0 to 1.

    Raises
    ------
    PictureError
        When the file cannot be read, is broken, or has no such page. The message leaves out the file's name.

    Notes
    -----
    Samples of 16 and 32 bits are used in full, or to 16 bits; so they are with a profile of curves and a matrix. A
    profile of tables is applied to their upper 8 bits. Floats in a TIFF are linear light, unless a profile in it says
    how they are encoded.
    """
    background = linear_colour(matte)
    decoded: list[tuple[int, Samples]] = []
    durations: list[float] = []
    if is_foreign(path):
        numbers = _chosen(page_numbers(path), frames, page)[::every]
        decoded = [
            (number, samples_of_page(decoded_page(path, number, use_profile=profile == "use"))) for number in numbers
        ]
        return _pictures(path, decoded, [0.0] * len(decoded), background, demand if scale == "demanded" else Demand())
    with open_picture(path) as image:
        animated = image.format != "TIFF" and getattr(image, "n_frames", 1) > 1
        for place, number in enumerate(_chosen(frame_numbers(image), frames, page)):
            if image.tell() != number:
                image.seek(number)
            if place % every == 0:
                if scale == "demanded":
                    reduce_scale(image, demand)
                decoded.append((number, decoded_frame(path, image, number=number, use_profile=profile == "use")))
                durations.append(0.0)
            if animated:
                durations[-1] += frame_duration(image)
    return _pictures(path, decoded, durations, background, demand if scale == "demanded" else Demand())


def _pictures(
    path: Path,
    decoded: list[tuple[int, Samples]],
    durations: list[float],
    background: NDArray[np.float32],
    demand: Demand,
) -> list[Picture]:
    pictures: list[Picture] = []
    for (number, samples), duration in zip(decoded, durations, strict=True):
        name = f"{path.stem}#{number}" if pictures else path.stem
        origin = Origin(name=name, source=str(path), frame=number, duration=duration / 1000 or None)
        pictures.append(Picture(origin=origin, pixels=_linear(samples, background, demand)))
    return pictures


def _linear(samples: Samples, background: NDArray[np.float32], demand: Demand) -> NDArray[np.float32]:
    height, width = samples.colours.shape[:2]
    side = block_side(width, height, demand)
    if side > 1:
        return block_means(samples.colours, samples.alpha, background, side)
    colours = linear_pixels(samples.colours)
    return colours if samples.alpha is None else over_matte(colours, samples.alpha, background)


def _chosen(numbers: list[int], frames: str, page: int | None) -> list[int]:
    if page is None:
        return numbers if frames == "all" else numbers[:1]
    if page > len(numbers):
        raise PictureError(f"page = {page} is beyond its {len(numbers)}; choose one of 1 to {len(numbers)}")
    return [numbers[page - 1]]
