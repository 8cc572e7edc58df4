"""The source stage for picture files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from ladderlight import Demand, Example, FilePart, Option, Origin, Picture, PictureError, Probe, stage
from ladderlight.units.arrays import Singles
from ladderlight_stages.colours import BLACK, Colour, linear_colour
from ladderlight_stages.sources.read.opened import Opened, opened
from ladderlight_stages.sources.read.picture_files.limits import MOST_HELD, FrameSize, refuse_frames, refuse_held
from ladderlight_stages.sources.read.picture_files.opening import FAILURES, DamageError
from ladderlight_stages.sources.read.profiles import ProfileError

if TYPE_CHECKING:
    from ladderlight_stages.sources.read.samples import Frame

_TAKEN_AS_SRGB = "its colours are taken as sRGB; save it with a profile that fits"
_IN_PART = "broken or cut short, and used as far as it can be decoded; copy or save it again"


def probe(path: Path, options: Mapping[str, Any]) -> Probe:
    """Read the header of a picture file.

    Raises PictureError when :func:`read` would refuse the file for its name, format, size or number of frames.
    """
    with opened(path, use_profile=options["profile"] == "use") as file:
        numbers = _wanted(file, options["frames"], options["page"])
        taken = numbers[:: options["every"]]
        refuse_frames(numbers if file.duration else taken)
        width, height = max(frame.width for frame in taken), max(frame.height for frame in taken)
        return Probe(
            frames=len(taken),
            width=height if file.sideways else width,
            height=width if file.sideways else height,
            caution=f"{file.caution}; {_TAKEN_AS_SRGB}" if file.caution else "",
        )


@stage(
    help="Read a picture file: PNG, JPEG, GIF, WebP, TIFF, BMP, PPM, AVIF, JPEG 2000, PSD, ICO, QOI, PCX, XBM, TGA or "
    "HEIC. Floats in a TIFF or PFM count as linear light.",
    probe=probe,
    example=Example(
        shows="the transparent corners of a file are filled with steel blue", options={"matte": "steelblue"}
    ),
)
def read(
    path: Path,
    demand: Demand,
    *,
    matte: Annotated[Colour, Option("colour behind transparent parts: a name or #rrggbb")] = BLACK,
    frames: Annotated[Literal["all", "first"], Option("frames of an animation or pages of a document")] = "all",
    every: Annotated[int, Option("take one frame of so many: 2 is every other one", minimum=1)] = 1,
    page: Annotated[int | None, Option("take only this frame or page, counted from 1", minimum=1)] = None,
    scale: Annotated[
        Literal["demanded", "full"],
        Option(
            "read large pictures in the size that the next stages need, or in full; a JPEG's decoder averages encoded "
            "values, so fine stark patterns become darker unless it is full"
        ),
    ] = "demanded",
    profile: Annotated[Literal["use", "ignore"], Option("use or ignore a colour profile in the file")] = "use",
    damaged: Annotated[
        Literal["refuse", "use"], Option("refuse a broken file, or use the part that can be decoded, with a caution")
    ] = "refuse",
) -> Iterator[Picture]:
    """Read a picture file into linear light, one frame after another.

    Raises PictureError when the file cannot be read, is broken, or lacks the page. The message leaves out the file's
    name.

    Parameters
    ----------
    demand
        The least size needed. A JPEG is decoded at 1/2, 1/4 or 1/8 where that suffices; of other files, blocks of
        pixels are averaged in linear light where that leaves twice as much.
    every, page
        A frame's duration is in ``origin.duration``; with ``every`` it includes the frames left out. ``page`` overrides
        ``frames`` and ``every``.
    scale
        A JPEG's decoder averages encoded values where it reduces a picture, so fine stark patterns become darker: black
        and white stripes of 4 pixels, reduced eightfold, have 0.22 of full light instead of 0.50. ``"full"`` avoids
        that, and takes several times as long and as much memory. Other files are averaged in linear light.
    profile
        ``"use"``: colours are converted to sRGB from the embedded profile, with perceptual intent and black-point
        compensation, or from the curve and primaries in a PNG's cICP, gAMA and cHRM. Without any they are sRGB.
    damaged
        ``"use"``: a file that is broken or cut short is read as far as it can be decoded, with the rest black; of an
        animation, the frames before the damage. The picture gets a note, ``caution``.

    Notes
    -----
    A colour profile that cannot be used is left out, with a note, ``caution``. Transparent parts are mixed with the
    matte in linear light.

    Samples of 16 bits are used in full, those of 32 bits to 16, also with a profile of curves and a matrix. A profile
    of tables is applied to their upper 8 bits. Floats in a TIFF or PFM are linear light, unless a profile in the file
    defines their encoding.
    """
    from ladderlight_stages.sources.read.samples import held_pixels

    background = linear_colour(matte)
    demand = demand if scale == "demanded" else Demand()
    with opened(path, use_profile=profile == "use", partly=damaged == "use") as file:
        numbers = _wanted(file, frames, page)
        refuse_frames(numbers if file.duration else numbers[::every])
        held = sorted(held_pixels(one.width, one.height, demand) for one in numbers[::every])
        refuse_held(numbers, sum(held[-MOST_HELD:]))
        waiting: Picture | None = None
        for place, one in enumerate(numbers):
            try:
                if place % every == 0:
                    frame = file.decode(one, demand)
                    picture = _picture(path, frame, one.number, first=place == 0, matte=background, demand=demand)
                    del frame  # a decoded frame is large
                    if waiting is not None:
                        yield waiting
                    waiting = picture
                if file.duration is not None and waiting is not None:
                    shown = (waiting.origin.duration or 0) + file.duration(one) / 1000
                    waiting = replace(waiting, origin=replace(waiting.origin, duration=shown or None))
            except (*FAILURES, DamageError):
                if waiting is None or damaged == "refuse":
                    raise
                waiting = waiting.with_notes({"caution": _IN_PART})
                break
        if waiting is not None:
            yield waiting


def _wanted(file: Opened, which: str, page: int | None) -> list[FrameSize]:
    """Return the frames up to the last that a recipe takes, those left out by ``every`` included."""
    if page is None:
        return file.frames if which == "all" else file.frames[:1]
    if page > len(file.frames):
        raise PictureError(f"page = {page} is beyond its {len(file.frames)}; choose one of 1 to {len(file.frames)}")
    return [file.frames[page - 1]]


def _picture(path: Path, frame: Frame, number: int, *, first: bool, matte: Singles, demand: Demand) -> Picture:
    from ladderlight_stages.sources.read.samples import light_of

    caution = _IN_PART if frame.damaged else ""
    try:
        pixels = light_of(frame, matte, demand, profiled=True)
    except ProfileError as error:
        caution = f"{error}; {_TAKEN_AS_SRGB}"
        pixels = light_of(frame, matte, demand, profiled=False)
    origin = Origin(name=path.stem if first else f"{path.stem}#{number}", source=str(path), frame=number)
    notes = {"caution": caution} if caution else {}
    return Picture(origin=origin, pixels=pixels, notes=notes, part=FilePart(size=frame.upright_size))
