"""Pictures with 16 bits per sample.

Pillow has no 16-bit colour mode: it keeps the upper byte of each sample. Its decoders can however be told the other
byte order, and then keep the lower one. Decoding twice gives both halves, with nothing lost, for every compression,
filter, interlace and byte order that it knows. The exception are compressed TIFFs with separate colour planes, of which
8 bits are kept here: see ``tiff``.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import ImageFile

UInt16 = NDArray[np.uint16]
_OTHER = {"B": "L", "L": "B"}
_NATIVE = "L" if sys.byteorder == "little" else "B"
_BITS_PER_SAMPLE, _PHOTOMETRIC, _PLANES = 258, 262, 284  # TIFF 6.0, section 8
_WHITE_IS_ZERO, _SEPARATE = 0, 2


def is_deep(image: ImageFile.ImageFile) -> bool:
    """Whether a frame that is not decoded yet holds 16 bits per sample."""
    if image.format != "PPM" and image.mode.startswith("I;16"):
        return True
    if image.format == "PPM":
        return _netpbm_white(image) > 255
    if image.format == "TIFF":
        return image.mode in ("RGB", "RGBA", "CMYK") and 16 in _tag(image, _BITS_PER_SAMPLE)
    return bool(image.tile) and ";16" in _rawmode(image.tile[0])


def halves_lost(image: ImageFile.ImageFile) -> bool:
    """Whether half of each sample is lost in a frame that is not decoded yet: compressed, with separate planes."""
    return (
        image.format == "TIFF"
        and bool(image.tile)
        and image.tile[0].codec_name == "libtiff"
        and _SEPARATE in _tag(image, _PLANES)
    )


def read_deep(image: ImageFile.ImageFile, again: Callable[[], ImageFile.ImageFile]) -> UInt16:
    """Decode a frame of 16 bits per sample.

    Parameters
    ----------
    image
        The frame, not decoded yet; :func:`is_deep` holds.
    again
        Gives the same frame once more, not decoded yet.

    Returns
    -------
    ndarray
        uint16, shape (height, width, channels): 1 channel for grey, 2 with alpha, 3 for colour, 4 with alpha or CMYK.
    """
    if image.format == "PPM":
        return _netpbm(image)
    if image.mode.startswith("I;16"):
        return _grey(image)[:, :, np.newaxis]
    if _rawmode(image.tile[0]) == "LA;16B":
        # Two samples of 16 bits are as wide as four of 8, and PNG's filters work on bytes.
        halves = _decoded(image, lambda _: "RGBA")
        return halves[:, :, ::2] << np.uint16(8) | halves[:, :, 1::2]
    order = "B" if image.format != "TIFF" or image.tag_v2.prefix == b"MM" else "L"  # type: ignore[attr-defined]
    multiplied = _rawmode(image.tile[0]).startswith("RGBa")  # colour already multiplied by alpha
    lost = halves_lost(image)
    upper = _decoded(image, lambda rawmode: _reading(rawmode, order))
    if lost:
        return upper * np.uint16(257)
    lower = _decoded(again(), lambda rawmode: _reading(rawmode, order, other=True))
    samples = upper << np.uint16(8) | lower
    return _undiluted(samples) if multiplied else samples


def _grey(image: ImageFile.ImageFile) -> UInt16:
    samples = np.asarray(image).astype(np.uint16)
    if image.format == "TIFF":
        if 12 in _tag(image, _BITS_PER_SAMPLE):
            samples = samples << np.uint16(4) | samples >> np.uint16(8)
        if _WHITE_IS_ZERO in _tag(image, _PHOTOMETRIC):
            samples = ~samples
    return samples


def _netpbm_white(image: ImageFile.ImageFile) -> int:
    """Give the sample that is white in a binary PGM or PPM; 0 for others, of which Pillow keeps 8 bits."""
    tile = image.tile[0]
    if tile.codec_name == "raw":
        return 65535 if tile.args in ("I;16B", ("I;16B",)) else 0
    return int(tile.args[1]) if tile.codec_name == "ppm" and isinstance(tile.args, tuple) else 0


def _netpbm(image: ImageFile.ImageFile) -> UInt16:
    """Read two bytes a sample, the upper one first, as Netpbm's manuals of PGM and PPM say."""
    channels, white = 1 if image.mode == "I" else 3, _netpbm_white(image)
    with Path(str(image.filename)).open("rb") as file:
        file.seek(image.tile[0].offset)
        data = file.read(image.width * image.height * channels * 2)
    samples = np.frombuffer(data, dtype=">u2").reshape(image.height, image.width, channels).astype(np.uint32)
    return (np.minimum(samples * 65535 + white // 2, 65535 * white) // white).astype(np.uint16)


def _tag(image: ImageFile.ImageFile, number: int) -> tuple[int, ...]:
    value = image.tag_v2.get(number, (1,))  # type: ignore[attr-defined]
    return value if isinstance(value, tuple) else (value,)


def _rawmode(tile: ImageFile._Tile) -> str:
    return tile.args if isinstance(tile.args, str) else str((tile.args or ("",))[0])


def _reading(rawmode: str, order: str, *, other: bool = False) -> str:
    """Give the raw mode that keeps the upper byte of each sample, or the other one. N: the machine's own byte order."""
    layout, _, suffix = rawmode.replace("RGBa", "RGBA").partition(";16")
    order = _NATIVE if suffix == "N" else order
    return f"{layout};16{_OTHER[order] if other else order}"


def _undiluted(samples: UInt16) -> UInt16:
    """Divide colour by alpha."""
    alpha = samples[:, :, 3:].astype(np.uint32)
    colour = np.minimum(samples[:, :, :3].astype(np.uint32) * 65535 // np.maximum(alpha, 1), 65535)
    return np.concatenate([colour.astype(np.uint16), samples[:, :, 3:]], axis=2)


def _decoded(image: ImageFile.ImageFile, change: Callable[[str], str]) -> UInt16:
    tiles = []
    for tile in image.tile:
        rawmode = change(_rawmode(tile))
        tiles.append(tile._replace(args=rawmode if isinstance(tile.args, str) else (rawmode, *(tile.args or ())[1:])))
    image.tile = tiles
    return np.asarray(image).astype(np.uint16)
