"""How much one file may take: no more than 1 GiB above what one picture of 24 megapixels of its kind takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ladderlight import PictureError

MOST_PIXELS = 250_000_000
"""Pixels of one frame."""
MOST_TOGETHER = 2_500_000_000
"""Frames times pixels of one file: half a minute of decoding, about."""
LIGHT = 12
"""Bytes of a pixel in linear light."""
_ROOM = 1 << 30
_USUAL = 24_000_000


@dataclass(frozen=True, kw_only=True)
class FrameSize:
    """A frame of a file, counted from 0, and its pixels as stored.

    ``depth`` is about how many bytes a pixel takes while the frame is decoded.
    """

    number: int
    width: int
    height: int
    depth: int = 4

    @property
    def pixels(self) -> int:
        """How many there are."""
        return self.width * self.height


def refuse_size(width: int, height: int, *, depth: int) -> None:
    """Refuse a frame that would take too much while it is decoded at ``depth`` bytes a pixel.

    Raises
    ------
    PictureError
        With the size and the limit.
    """
    most = min(MOST_PIXELS, (_ROOM + _USUAL * (depth + LIGHT)) // depth)
    if width * height > most:
        raise PictureError(f"{width}x{height} pixels are more than {most // 10**6} million; scale it down first")


def refuse_frames(frames: Sequence[FrameSize]) -> None:
    """Refuse a file that would take too much or too long, before anything in it is decoded.

    Raises
    ------
    PictureError
        With the size and the limit.
    """
    for frame in frames:
        refuse_size(frame.width, frame.height, depth=frame.depth)
    if sum(frame.pixels for frame in frames) > MOST_TOGETHER:
        raise _too_many(frames, MOST_TOGETHER, "")


def refuse_held(frames: Sequence[FrameSize], held: int) -> None:
    """Refuse a file whose frames, handed on with ``held`` pixels together, would take too much.

    Raises
    ------
    PictureError
        With the number of pixels and the limit.
    """
    depth = max(frame.depth for frame in frames)
    most = (_ROOM + _USUAL * (depth + LIGHT) - max(frame.pixels * frame.depth for frame in frames)) // LIGHT
    if held > most:
        raise _too_many(frames, most, " as the next stages need them", held)


def _too_many(frames: Sequence[FrameSize], most: int, how: str, count: int | None = None) -> PictureError:
    count = sum(frame.pixels for frame in frames) if count is None else count
    many, action = f"{len(frames)} frames of {frames[0].width}x{frames[0].height} pixels are", "take fewer with every"
    if len(frames) == 1:
        many, action = f"its {frames[0].width}x{frames[0].height} pixels are", "put resize into the chain"
    return PictureError(
        f"{many} {count / 1e6:,.0f} million pixels{how}, more than {most // 10**6:,} million; "
        f"scale it down first, or {action}"
    )
