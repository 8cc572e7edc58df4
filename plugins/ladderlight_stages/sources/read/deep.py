"""Pictures with 16 bits per sample.

Pillow does not have a 16-bit colour mode: it keeps the upper byte of each sample. Set to the other byte order, its
decoders keep the lower one. Decoding twice yields both halves, with nothing lost, for every compression, filter,
interlace and byte order that it knows. Of compressed TIFFs with separate colour planes only 8 bits are kept here: see
``tiff``.
"""

import sys
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile

UInt16 = NDArray[np.uint16]
_OTHER = {"B": "L", "L": "B"}
_NATIVE = "L" if sys.byteorder == "little" else "B"
_BITS_PER_SAMPLE, _PHOTOMETRIC, _PLANES = 258, 262, 284  # TIFF 6.0, section 8
_WHITE_IS_ZERO, _SEPARATE = 0, 2


def is_deep(image: ImageFile.ImageFile) -> bool:
    """Whether a frame that is not decoded yet holds 16 bits per sample."""
    if image.mode.startswith("I;16"):
        return True
    if image.format == "TIFF":
        return image.mode in ("RGB", "RGBA", "CMYK") and 16 in _tag(image, _BITS_PER_SAMPLE)
    return image.format == "PNG" and bool(image.tile) and ";16" in _rawmode(image.tile[0])


def has_separate_planes(image: ImageFile.ImageFile) -> bool:
    """Whether each colour of a frame has a plane of its own, so that its samples cannot be read in halves."""
    return image.format == "TIFF" and _SEPARATE in _tag(image, _PLANES)


def deep_rows(
    image: ImageFile.ImageFile, again: Callable[[], ImageFile.ImageFile], load: Callable[[ImageFile.ImageFile], object]
) -> Callable[[int, int], UInt16]:
    """Decode a frame of 16 bits per sample, for which :func:`is_deep` holds.

    ``again`` returns the same frame once more, not decoded yet; ``load`` decodes an opened frame. What is returned
    gives the samples from one row up to another: uint16, shape (rows, width, channels), 1 channel for grey, 2 with
    alpha, 3 for colour, 4 with alpha or CMYK.
    """
    if image.mode.startswith("I;16"):
        load(image)
        return lambda top, bottom: _grey(image, _part(image, top, bottom))[:, :, np.newaxis]
    if _rawmode(image.tile[0]) == "LA;16B":
        # Two samples of 16 bits are as wide as four of 8, and PNG's filters work on bytes.
        load(_changed(image, lambda _: "RGBA"))
        shape = (-1, image.width, 2, 2)  # grey and alpha, the upper byte of each first
        return lambda top, bottom: _joined(*np.moveaxis(_part(image, top, bottom).reshape(shape), 3, 0))
    order = "B" if image.format != "TIFF" or image.tag_v2.prefix == b"MM" else "L"  # type: ignore[attr-defined]
    multiplied = _rawmode(image.tile[0]).startswith("RGBa")  # colour already multiplied by alpha
    lower = image
    if not (has_separate_planes(image) and image.tile[0].codec_name == "libtiff"):
        lower = _changed(again(), lambda rawmode: _reading(rawmode, order, other=True))
        load(lower)
    load(_changed(image, lambda rawmode: _reading(rawmode, order)))

    def rows(top: int, bottom: int) -> UInt16:
        samples = _joined(_part(image, top, bottom), _part(lower, top, bottom))
        return _undiluted(samples) if multiplied else samples

    return rows


def _part(image: Image.Image, top: int, bottom: int) -> NDArray[Any]:
    return np.asarray(image.crop((0, top, image.width, bottom)))


def _joined(upper: NDArray[Any], lower: NDArray[Any]) -> UInt16:
    joined: UInt16 = upper.astype(np.uint16) << np.uint16(8) | lower
    return joined


def _grey(image: ImageFile.ImageFile, part: NDArray[Any]) -> UInt16:
    samples: UInt16 = part.astype(np.uint16)
    if image.format == "TIFF":
        if 12 in _tag(image, _BITS_PER_SAMPLE):
            samples = samples << np.uint16(4) | samples >> np.uint16(8)
        if _WHITE_IS_ZERO in _tag(image, _PHOTOMETRIC):
            samples = ~samples
    return samples


def _tag(image: ImageFile.ImageFile, number: int) -> tuple[int, ...]:
    value = image.tag_v2.get(number, (1,))  # type: ignore[attr-defined]
    return value if isinstance(value, tuple) else (value,)


def _rawmode(tile: ImageFile._Tile) -> str:
    return tile.args if isinstance(tile.args, str) else str((tile.args or ("",))[0])


def _reading(rawmode: str, order: str, *, other: bool = False) -> str:
    """Return the raw mode that keeps the upper byte of each sample, or the lower one. N: the machine's byte order."""
    layout, _, suffix = rawmode.replace("RGBa", "RGBA").partition(";16")
    order = _NATIVE if suffix == "N" else order
    return f"{layout};16{_OTHER[order] if other else order}"


def _undiluted(samples: UInt16) -> UInt16:
    alpha = samples[:, :, 3:].astype(np.uint32)
    colour = np.minimum(samples[:, :, :3].astype(np.uint32) * 65535 // np.maximum(alpha, 1), 65535)
    return np.concatenate([colour.astype(np.uint16), samples[:, :, 3:]], axis=2)


def _changed(image: ImageFile.ImageFile, change: Callable[[str], str]) -> ImageFile.ImageFile:
    tiles = []
    for tile in image.tile:
        rawmode = change(_rawmode(tile))
        tiles.append(tile._replace(args=rawmode if isinstance(tile.args, str) else (rawmode, *(tile.args or ())[1:])))
    image.tile = tiles
    return image
