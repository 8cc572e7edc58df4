"""An open picture file of any format: its frames, each decoded when it is needed, and what decodes imported then."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import ImageFile

from ladderlight import Demand, Frozen
from ladderlight_stages.sources.read.netpbm import Raster, raster_of, raw_samples, scaled
from ladderlight_stages.sources.read.picture_files.frames import (
    frame_duration,
    frames_of,
    is_animated,
    is_sideways,
    reduce_scale,
)
from ladderlight_stages.sources.read.picture_files.limits import FrameSize
from ladderlight_stages.sources.read.picture_files.opening import UnknownPageError, open_picture, reading
from ladderlight_stages.sources.read.profiles import ProfileError, profile_mode

if TYPE_CHECKING:
    from ladderlight_stages.sources.read.samples import Frame, Samples


class Opened(Frozen):
    """A file with its frames in order, not decoded yet.

    ``caution`` is the fault of its colour profile.
    """

    frames: list[FrameSize]
    decode: Callable[[FrameSize, Demand], Frame]
    duration: Callable[[FrameSize], float] | None = None
    """Milliseconds for which a frame is shown; None where frames do not follow each other in time."""
    sideways: bool = False
    """Whether width and height change places when the picture is turned upright."""
    caution: str = ""


@contextmanager
def opened(path: Path, *, use_profile: bool, partly: bool = False) -> Iterator[Opened]:
    """Open a picture file; with ``partly`` the part of a broken one that can be decoded counts.

    Raises PictureError when it cannot be read; also while frames are decoded.
    """
    with ExitStack() as stack:
        file, head = stack.enter_context(reading(path))
        raster = raster_of(head)
        if raster is not None:
            yield _raster_file(path, raster, partly=partly)
            return
        try:
            image = stack.enter_context(open_picture(path, file, head, complete=partly))
            found = _pillow_file(path, image, use_profile=use_profile, partly=partly)
        except UnknownPageError:
            stack.close()
            found = _page_file(path, use_profile=use_profile)
        yield found


def _page_file(path: Path, *, use_profile: bool) -> Opened:
    from ladderlight_stages.sources.read.decode import frame_of_page
    from ladderlight_stages.sources.read.tiff import decoded_page, page_sizes

    return Opened(
        frames=page_sizes(path),
        decode=lambda size, _: frame_of_page(decoded_page(path, size.number, use_profile=use_profile)),
    )


def _raster_file(path: Path, raster: Raster, *, partly: bool) -> Opened:
    def decode(_: FrameSize, __: Demand) -> Frame:
        from ladderlight_stages.sources.read.samples import Frame, Samples

        stored, damaged = raw_samples(path, raster, partly=partly)

        def rows(top: int, bottom: int, _: bool) -> Samples:  # noqa: FBT001 - as Frame has it
            samples = scaled(stored[top:bottom], raster.white)
            return Samples(colours=samples[:, :, 0] if raster.channels == 1 else samples, alpha=None)

        return Frame(width=raster.width, height=raster.height, orientation=1, rows=rows, damaged=damaged)

    size = FrameSize(number=0, width=raster.width, height=raster.height, depth=raster.depth)
    return Opened(frames=[size], decode=decode)


def _pillow_file(path: Path, image: ImageFile.ImageFile, *, use_profile: bool, partly: bool) -> Opened:
    def seek(size: FrameSize) -> None:
        if image.format != "PSD" and image.tell() != size.number:
            image.seek(size.number)

    def decode(size: FrameSize, demand: Demand) -> Frame:
        from ladderlight_stages.sources.read.decode import decoded_frame

        seek(size)
        stored = image.size
        reduce_scale(image, demand)
        reduced = image.size != stored
        alone = size == frames[0] or not is_animated(image)  # a later frame of an animation counts only as a whole
        frame = decoded_frame(path, image, number=size.number, use_profile=use_profile, partly=partly and alone)
        return replace(frame, stored=stored) if reduced else frame

    def duration(size: FrameSize) -> float:
        seek(size)
        return frame_duration(image)

    frames = frames_of(image)
    seek(frames[0])
    profile = image.info.get("icc_profile") if use_profile else None
    caution = ""
    if profile:
        try:
            profile_mode(profile)
        except ProfileError as error:
            caution = str(error)
    return Opened(
        frames=frames,
        decode=decode,
        duration=duration if is_animated(image) else None,
        sideways=is_sideways(image),
        caution=caution,
    )
