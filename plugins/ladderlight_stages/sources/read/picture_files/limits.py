"""Limits for one file: at most 1 GiB more than a picture of 24 megapixels of its kind needs."""

from collections.abc import Sequence

from ladderlight import Frozen, PictureError

MOST_PIXELS = 250_000_000
"""Pixels of one frame."""
MOST_TOGETHER = 2_500_000_000
"""Frames times pixels of one file: one or two minutes of decoding, as measured."""
MOST_FRAMES = 100_000
MOST_HELD = 8
"""Frames of one file that are in memory for the next stages at once."""
LIGHT = 12
"""Bytes of a pixel in linear light."""
_ROOM = 1 << 30
_USUAL = 24_000_000
_DEEPEST = 64  # bytes of a pixel; files of more serve other purposes


class FrameSize(Frozen):
    """A frame of a file, counted from 0, and its pixels as stored.

    ``depth`` is about the number of bytes of a pixel while the frame is decoded.
    """

    number: int
    width: int
    height: int
    depth: int = 4

    @property
    def pixels(self) -> int:
        """Their number."""
        return self.width * self.height


def refuse_size(width: int, height: int, *, depth: int) -> None:
    """Refuse a frame that would need too much memory while it is decoded at ``depth`` bytes a pixel: PictureError."""
    if depth > _DEEPEST:
        raise PictureError(f"its pixels of {depth:,} bytes are more than {_DEEPEST}; save it as RGB")
    most = min(MOST_PIXELS, _room(depth) // depth)
    if width * height > most:
        raise PictureError(f"{width}x{height} pixels are more than {_millions(most)}; scale it down first")


def refuse_count(frames: int) -> None:
    """Refuse a file that claims more frames than any board has banks, before they are listed: PictureError."""
    if frames > MOST_FRAMES:
        raise PictureError(f"{frames:,} frames are more than {MOST_FRAMES:,} a file; split it")


def refuse_frames(frames: Sequence[FrameSize]) -> None:
    """Refuse a file that would need too much memory or time, before anything in it is decoded: PictureError."""
    for frame in frames:
        refuse_size(frame.width, frame.height, depth=frame.depth)
    together = sum(frame.pixels for frame in frames)
    if together > MOST_TOGETHER:
        raise PictureError(
            f"{_counted(frames)} are {_millions(together)} pixels, more than {_millions(MOST_TOGETHER)} a file; "
            f"scale it down first{', or take one with page' if len(frames) > 1 else ''}"
        )


def refuse_held(frames: Sequence[FrameSize], held: int) -> None:
    """Refuse a file whose frames, with ``held`` pixels together for the next stages, would need too much memory."""
    depth = max(frame.depth for frame in frames)
    most = (_room(depth) - max(frame.pixels * frame.depth for frame in frames)) // LIGHT
    if held > most:
        raise PictureError(
            f"{_counted(frames)} are {_millions(held)} pixels for the next stages, more than {_millions(most)}; "
            f"put resize into the chain or scale it down first{', or take fewer with every' if len(frames) > 1 else ''}"
        )


def _room(depth: int) -> int:
    return _ROOM + _USUAL * (depth + LIGHT)


def _counted(frames: Sequence[FrameSize]) -> str:
    largest = max(frames, key=lambda frame: frame.pixels)
    size = f"{largest.width}x{largest.height} pixels"
    return size if len(frames) == 1 else f"{len(frames):,} frames of {size}"


def _millions(pixels: int) -> str:
    return f"{pixels / 1e6:,.0f} million"
