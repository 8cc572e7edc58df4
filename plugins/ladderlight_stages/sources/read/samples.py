"""Conversion of decoded samples to linear light."""

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight import Demand, Frozen
from ladderlight.board import linear_from_srgb
from ladderlight.units.arrays import Singles
from ladderlight_stages.compiled import compiled

_STRIP = 1 << 18  # pixels at a time: small enough for the processor's cache
_BAND = 1 << 20  # pixels converted at a time: a large picture is never held twice


class Samples(Frozen):
    """Rows of a frame, as stored.

    ``colours`` uint8 or uint16 over their whole range, sRGB, or float32, linear light, 0 to 1; shape (height, width) or
    (height, width, 3). ``alpha`` uint8 or uint16, shape (height, width); None when the rows cover everything.
    """

    colours: NDArray[Any]
    alpha: NDArray[np.unsignedinteger] | None


class Frame(Frozen):
    """A frame that is decoded, but whose samples are not converted yet.

    ``rows`` returns those from one row up to another, with the colour profile of the file or without. ``orientation``
    is EXIF's, 1 to 8. ``damaged`` when some of it could not be decoded. ``stored`` is the size of the file's picture
    where the decoder has reduced it.
    """

    width: int
    height: int
    orientation: int
    rows: Callable[[int, int, bool], Samples]
    damaged: bool = False
    stored: tuple[int, int] | None = None

    @property
    def upright_size(self) -> tuple[int, int]:
        """Width and height of the file's picture, turned upright."""
        width, height = self.stored or (self.width, self.height)
        return (height, width) if self.orientation >= 5 else (width, height)


def light_of(frame: Frame, matte: Singles, demand: Demand, *, profiled: bool) -> Singles:
    """Convert a frame to linear light, no larger than is demanded, band by band.

    Returns float32, shape (height, width, 3), upright, 0 to 1, C-contiguous.

    Parameters
    ----------
    frame
        The frame, as stored.
    matte
        float32, shape (3,): the colour behind transparent parts.
    demand
        The size needed of the frame as shown; blocks of pixels are averaged where that leaves twice as much.
    profiled
        Whether the file's colour profile counts.
    """
    if frame.orientation >= 5:
        demand = Demand(width=demand.height, height=demand.width)
    side = block_side(frame.width, frame.height, demand)
    step = max(1, _BAND // (frame.width * side)) * side
    if step >= frame.height:
        samples = frame.rows(0, frame.height, profiled)
        light = block_means(samples.colours, samples.alpha, matte, side)
    else:
        light = np.empty((-(-frame.height // side), -(-frame.width // side), 3), dtype=np.float32)
        for top in range(0, frame.height, step):
            bottom = min(top + step, frame.height)
            samples = frame.rows(top, bottom, profiled)
            light[top // side : -(-bottom // side)] = block_means(samples.colours, samples.alpha, matte, side)
    return np.ascontiguousarray(upright(light, frame.orientation))


def held_pixels(width: int, height: int, demand: Demand) -> int:
    """Return the number of pixels of a frame after blocks of them are averaged."""
    side = block_side(width, height, demand)
    return -(-height // side) * -(-width // side)


def linear_pixels(samples: NDArray[Any]) -> Singles:
    """Decode sRGB samples, (height, width) or (height, width, 3), to linear light: float32 (height, width, 3), 0 to 1.

    uint8 or uint16 over their whole range; float32 is linear already.
    """
    if samples.dtype == np.float32:
        linear: Singles = samples
    else:
        stored = np.require(samples, requirements=["C", "A"]).view()
        stored.flags.writeable = False  # as decoders give them; copies would be of another kind for the compiler
        linear = _looked_up(stored, _linear_of(np.iinfo(samples.dtype).max))
    return linear if linear.ndim == 3 else np.repeat(linear[:, :, np.newaxis], 3, axis=2)


@compiled
def _looked_up(samples: NDArray[Any], table: Singles) -> Singles:  # pragma: no cover - compiled
    """Return ``table[samples]``, many times faster; samples uint8 or uint16, C order, all within the table."""
    light = np.empty(samples.shape, np.float32)
    flat, found, done = samples.reshape(-1), light.reshape(-1), 0
    if samples.itemsize == 1:  # eight are read at a time, two written: all processors have the low bits first
        bits, done = table.view(np.uint32), flat.size - flat.size % 8
        eights, twos = flat[:done].view(np.uint64), found[:done].view(np.uint64)
        for i in range(np.uintp(len(eights))):
            left = np.uint64(eights[i])
            for k in range(4):
                first = np.uint64(bits[left & np.uint64(255)])
                second = np.uint64(bits[left >> np.uint64(8) & np.uint64(255)])
                twos[np.uintp(4) * i + np.uintp(k)] = first | second << np.uint64(32)
                left >>= np.uint64(16)
    for i in range(done, flat.size):
        found[i] = table[flat[i]]
    return light


@cache
def _linear_of(highest: int) -> Singles:
    """Return the linear light of each sample up to the highest."""
    return linear_from_srgb(np.arange(highest + 1) / highest).astype(np.float32)


def over_matte(linear: Singles, alpha: NDArray[np.unsignedinteger], matte: Singles) -> Singles:
    """Lay a picture, not multiplied by alpha, over a plain colour, (3,), in linear light.

    Alpha is uint8 or uint16 over their whole range, shape (height, width).
    """
    cover = (alpha * np.float32(1 / np.iinfo(alpha.dtype).max))[:, :, np.newaxis]
    return matte + (linear - matte) * cover


def block_side(width: int, height: int, demand: Demand) -> int:
    """Return the side of the blocks of pixels that may be averaged into one.

    Twice the demanded size is left in each direction, since a plain mean softens the finest detail a little. A side
    that divides the picture evenly is preferred, so that a drawing with repeated pixels remains one.
    """
    if demand.width is None or demand.height is None:
        return 1
    most = max(1, min(width // (2 * demand.width), height // (2 * demand.height)))
    even = (side for side in range(most, most // 2, -1) if width % side == 0 and height % side == 0)
    return next(even, most)


def block_means(
    colours: NDArray[Any],
    alpha: NDArray[np.unsignedinteger] | None,
    matte: Singles,
    side: int,
) -> Singles:
    """Decode samples, lay them over a plain colour, and average square blocks of pixels, all in linear light.

    Returns float32, shape (height / side, width / side, 3), rounded up, 0 to 1, C-contiguous.

    It works strip by strip, so that a huge picture is never held as a whole in linear light.

    Parameters
    ----------
    colours, alpha
        As for :func:`linear_pixels` and :func:`over_matte`; ``alpha`` None when the picture covers everything.
    matte
        float32, shape (3,).
    side
        Side of a block in pixels; those at the right and lower edge may be smaller.
    """
    height, width = map(int, colours.shape[:2])
    if side == 1:
        light = linear_pixels(colours)
        return light if alpha is None else over_matte(light, alpha, matte)
    columns = np.arange(0, width, side)
    wide = np.diff(columns, append=width).astype(np.float32)[:, np.newaxis]
    means = np.empty((-(-height // side), len(columns), 3), dtype=np.float32)
    strip, whole = max(1, _STRIP // (side * width)), height // side
    spans = [(row, min(strip, whole - row), side) for row in range(0, whole, strip)]
    if height % side:
        spans.append((whole, 1, height % side))
    for row, count, tall in spans:
        part = slice(row * side, row * side + count * tall)
        light = linear_pixels(colours[part])
        if alpha is not None:
            light = over_matte(light, alpha[part], matte)
        sums = light.reshape(count, tall, -1).sum(axis=1).reshape(count, width, 3)
        means[row : row + count] = np.add.reduceat(sums, columns, axis=1) / (wide * np.float32(tall))
    return means


def upright(samples: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Return a view of a picture turned upright from its EXIF orientation, 1 to 8 (Exif 2.32, tag 274)."""
    if orientation >= 5:
        samples = samples.swapaxes(0, 1)
    if orientation in (3, 4, 7, 8):
        samples = samples[::-1]
    if orientation in (2, 3, 6, 7):
        samples = samples[:, ::-1]
    return samples
