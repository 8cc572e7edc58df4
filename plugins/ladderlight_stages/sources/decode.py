"""One frame of a picture file to samples."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile

from ladderlight import PictureError
from ladderlight_stages.sources.deep import is_deep, read_deep
from ladderlight_stages.sources.files import open_picture, orientation
from ladderlight_stages.sources.matrix_profiles import linear_by_matrix
from ladderlight_stages.sources.profiles import ProfileError, to_srgb
from ladderlight_stages.sources.samples import upright

Float32 = NDArray[np.float32]
UInt8 = NDArray[np.uint8]
UInt16 = NDArray[np.uint16]

_SRGB_GAMMA = 1 / 2.2  # as PNG's gAMA chunk holds it: 45455 (W3C PNG, section 11.3.2.2)


@dataclass(frozen=True, kw_only=True)
class Samples:
    """One frame as decoded, upright.

    ``colours`` uint8 or uint16 over their whole range, sRGB, or float32, linear light, 0 to 1; shape (height, width) or
    (height, width, 3). ``alpha`` uint8 or uint16, shape (height, width); None when the picture covers everything.
    """

    colours: UInt8 | UInt16 | Float32
    alpha: UInt8 | UInt16 | None


def decoded_frame(path: Path, image: ImageFile.ImageFile, *, number: int, use_profile: bool) -> Samples:
    """Decode one frame.

    Parameters
    ----------
    path, image, number
        The file, open at the frame of this number, which is not decoded yet.
    use_profile
        Whether an embedded colour profile counts.

    Raises
    ------
    PictureError
        When its samples or its profile are of a kind that cannot be read.
    """
    profile = image.info.get("icc_profile") or b"" if use_profile else b""
    colours: UInt8 | UInt16 | Float32
    alpha: UInt8 | UInt16 | None
    try:
        # An animation is put together by Pillow, frame over frame, in 8 bits.
        if (image.format == "TIFF" or getattr(image, "n_frames", 1) == 1) and is_deep(image):
            colours, alpha = _deep_samples(path, image, number, profile)
        else:
            colours, alpha = _samples(image, profile)
    except ProfileError as error:
        raise PictureError(f'{error}; save it without, or set profile = "ignore"') from error
    if use_profile and not profile:
        colours = _without_gamma(image, colours)
    turn = orientation(image)  # only now: decoding a TIFF has already turned it, and cleared the tag
    return Samples(colours=upright(colours, turn), alpha=None if alpha is None else upright(alpha, turn))


def _samples(image: ImageFile.ImageFile, profile: bytes) -> tuple[UInt8, UInt8 | None]:
    """Give 8-bit sRGB samples, and alpha unless the picture covers everything."""
    image.load()
    plain: Image.Image = image
    alpha = None
    if image.has_transparency_data:
        full = image.convert("RGBA")
        channel = full.getchannel("A")
        if channel.getextrema() != (255, 255):
            alpha = np.asarray(channel)
        plain = image if image.mode == "L" else full.convert("RGB")
    elif image.mode in ("1", "L"):
        plain = image.convert("L")
    elif image.mode in ("I", "F"):
        raise PictureError("samples of 32 bits have no agreed white; save it with 8 or 16 bits")
    elif image.mode not in ("RGB", "CMYK", "LAB"):
        plain = image.convert("RGB")
    if profile or plain.mode == "LAB":
        plain = to_srgb(plain, profile if plain.mode != "LAB" else b"")
    if plain.mode == "CMYK":
        plain = plain.convert("RGB")
    return np.asarray(plain), alpha


def _deep_samples(
    path: Path, image: ImageFile.ImageFile, number: int, profile: bytes
) -> tuple[UInt8 | UInt16 | Float32, UInt16 | None]:
    """Give 16-bit samples, linear light after a profile of curves and a matrix, 8 bits after any other; and alpha."""
    mode, key = image.mode, image.info.get("transparency")
    with open_picture(path) as second:

        def again() -> ImageFile.ImageFile:
            if number:
                second.seek(number)
            return second

        samples = read_deep(image, again)
    if mode == "CMYK":
        inks = [Image.fromarray(ink) for ink in np.moveaxis(_upper_bytes(samples), 2, 0)]
        return _managed(Image.merge("CMYK", inks), profile), None
    alpha = None
    if samples.shape[2] in (2, 4):
        samples, alpha = samples[:, :, :-1], samples[:, :, -1]
    elif key is not None:
        alpha = np.where((samples == np.atleast_1d(key)).all(axis=2), np.uint16(0), np.uint16(65535))
    if profile:
        light = linear_by_matrix(samples, profile)
        if light is not None:
            return light, alpha
        upper = _upper_bytes(samples)
        return _managed(Image.fromarray(upper[:, :, 0] if upper.shape[2] == 1 else upper), profile), alpha
    return samples[:, :, 0] if samples.shape[2] == 1 else samples, alpha


def _without_gamma(image: Image.Image, colours: NDArray[Any]) -> NDArray[Any]:
    """Decode a PNG that states a gamma other than that of sRGB, such as 1 for linear light, and nothing better."""
    gamma = image.info.get("gamma", _SRGB_GAMMA)
    if image.format != "PNG" or "srgb" in image.info or abs(gamma - _SRGB_GAMMA) < 0.01 or gamma <= 0:
        return colours
    top = np.iinfo(colours.dtype).max
    table: Float32 = (np.arange(top + 1) / top) ** (1 / gamma)
    return table.astype(np.float32).take(colours)


def _upper_bytes(samples: UInt16) -> UInt8:
    """Round 16-bit samples to 8 bits."""
    return ((samples.astype(np.uint32) * 255 + 32768) // 65535).astype(np.uint8)


def _managed(image: Image.Image, profile: bytes) -> UInt8:
    if profile:
        image = to_srgb(image, profile)
    return np.asarray(image.convert("RGB"))
