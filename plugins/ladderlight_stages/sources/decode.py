"""One frame of a picture file to samples."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile

from ladderlight import PictureError
from ladderlight_stages.sources.deep import halves_lost, is_deep, read_deep
from ladderlight_stages.sources.files import open_picture, orientation
from ladderlight_stages.sources.matrix_profiles import linear_by_matrix
from ladderlight_stages.sources.profiles import ProfileError, to_srgb
from ladderlight_stages.sources.samples import upright
from ladderlight_stages.sources.stated import coding_of, gamma_of
from ladderlight_stages.sources.tiff import Page, decoded_page

Float32 = NDArray[np.float32]
UInt8 = NDArray[np.uint8]
UInt16 = NDArray[np.uint16]


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
    if image.format == "TIFF" and image.mode in ("I", "F"):
        return samples_of_page(decoded_page(path, number, use_profile=use_profile))
    if is_deep(image) and halves_lost(image):
        try:
            return samples_of_page(decoded_page(path, number, use_profile=use_profile))
        except PictureError:
            pass  # a compression that only Pillow knows, or damage that it makes the best of
    coding = coding_of(path) if use_profile and image.format == "PNG" else None
    profile = image.info.get("icc_profile") or b"" if use_profile and coding is None else b""
    colours: UInt8 | UInt16 | Float32
    alpha: UInt8 | UInt16 | None
    try:
        # An animation is put together by Pillow, frame over frame, in 8 bits.
        if (image.format == "TIFF" or getattr(image, "n_frames", 1) == 1) and is_deep(image):
            colours, alpha = _deep_samples(path, image, number, profile)
        else:
            colours, alpha = _samples(image, profile)
    except ProfileError as error:
        raise _unusable(error) from error
    stated = coding or (gamma_of(image) if use_profile and not profile else None)
    if stated is not None and not stated.plain:
        colours = stated.linear(colours)
    turn = orientation(image)  # only now: decoding a TIFF has already turned it, and cleared the tag
    return Samples(colours=upright(colours, turn), alpha=None if alpha is None else upright(alpha, turn))


def samples_of_page(page: Page) -> Samples:
    """Apply a page's profile and turn it upright.

    Raises
    ------
    PictureError
        When its profile cannot be used.
    """
    colours: UInt8 | UInt16 | Float32
    try:
        colours = page.colours if page.colours.dtype == np.float32 else _profiled(page.colours, page.profile)
    except ProfileError as error:
        raise _unusable(error) from error
    colours = colours[:, :, 0] if colours.ndim == 3 and colours.shape[2] == 1 else colours
    alpha = None if page.alpha is None else upright(page.alpha, page.orientation)
    return Samples(colours=upright(colours, page.orientation), alpha=alpha)


def _unusable(error: ProfileError) -> PictureError:
    return PictureError(f'{error}; save it without, or set profile = "ignore"')


def _samples(image: ImageFile.ImageFile, profile: bytes) -> tuple[UInt8, UInt8 | None]:
    """Give 8-bit sRGB samples, and alpha unless the picture covers everything."""
    _spread_key(image)
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


def _spread_key(image: ImageFile.ImageFile) -> None:
    """Spread the transparent grey of a PNG of 2 or 4 bits over 8, as Pillow spreads the samples but not their key."""
    factor = {"L;2": 85, "L;4": 17}.get(str(image.tile[0].args)) if image.format == "PNG" and image.tile else None
    key = image.info.get("transparency")
    if factor and isinstance(key, int):
        image.info["transparency"] = min(key * factor, 255)


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
    return _profiled(samples, profile), alpha


def _profiled(samples: UInt16, profile: bytes) -> UInt8 | UInt16 | Float32:
    """Apply a profile to 16-bit samples of 1 or 3 channels; without one they stay as they are."""
    plain = samples[:, :, 0] if samples.shape[2] == 1 else samples
    if not profile:
        return plain
    light = linear_by_matrix(samples, profile)
    return light if light is not None else _managed(Image.fromarray(_upper_bytes(plain)), profile)


def _upper_bytes(samples: UInt16) -> UInt8:
    """Round 16-bit samples to 8 bits."""
    return ((samples.astype(np.uint32) * 255 + 32768) // 65535).astype(np.uint8)


def _managed(image: Image.Image, profile: bytes) -> UInt8:
    if profile:
        image = to_srgb(image, profile)
    return np.asarray(image.convert("RGB"))
