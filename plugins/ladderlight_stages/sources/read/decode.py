"""Decoding of one frame of a picture file to samples."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageFile

from ladderlight import PictureError
from ladderlight.units.arrays import Bytes
from ladderlight_stages.sources.read.deep import deep_rows, has_separate_planes, is_deep
from ladderlight_stages.sources.read.picture_files.frames import orientation
from ladderlight_stages.sources.read.picture_files.opening import FAILURES, Ended, open_picture, reading
from ladderlight_stages.sources.read.profiles import linear_by_matrix, to_srgb
from ladderlight_stages.sources.read.samples import Frame, Samples
from ladderlight_stages.sources.read.stated import coding_of, gamma_of
from ladderlight_stages.sources.read.tiff import Page, decoded_page

UInt16 = NDArray[np.uint16]
_BLOCK = 1 << 22
"""Bytes of a file that its decoder is given at a time: most files are one block. Pillow copies a block that begins with
what the decoder has left of the one before, and after each a thread waits for the interpreter's lock."""


class _Loader:
    """Decodes frames; where that fails half-way, keeps the part that was decoded, if allowed."""

    def __init__(self, *, partly: bool) -> None:
        self._partly = partly
        self.damaged = False

    def __call__(self, image: ImageFile.ImageFile) -> None:
        file, image.decodermaxblock = image.fp, _BLOCK
        try:
            image.load()
            self.damaged |= isinstance(file, Ended) and file.completed
        except FAILURES:
            if not self._partly or not _holds_any(image):
                raise
            self.damaged = True
            image.tile = []
            image.load()


def _holds_any(image: ImageFile.ImageFile) -> bool:
    """Whether anything but zeros has been decoded of a frame."""
    try:
        return image.im.getbbox() is not None
    except FAILURES:
        return False


def decoded_frame(
    path: Path, image: ImageFile.ImageFile, *, number: int, use_profile: bool, partly: bool = False
) -> Frame:
    """Decode one frame.

    Raises PictureError when its samples are of a kind that cannot be read, or it is broken.

    Parameters
    ----------
    path, image, number
        The file, open at the frame of this number, which is not decoded yet.
    use_profile
        Whether an embedded colour profile counts.
    partly
        Whether a frame that can be decoded only in part counts.
    """
    if image.format == "TIFF" and image.mode in ("I", "F"):
        return frame_of_page(decoded_page(path, number, use_profile=use_profile))
    if is_deep(image) and has_separate_planes(image):
        try:
            return frame_of_page(decoded_page(path, number, use_profile=use_profile))
        except PictureError:
            pass  # a compression that only Pillow knows, or damage that it tolerates
    coding = coding_of(path) if use_profile and image.format == "PNG" else None
    profile = image.info.get("icc_profile") or b"" if use_profile and coding is None else b""
    load = _Loader(partly=partly)
    stored: Callable[[int, int, bytes], Samples]
    # An animation is put together by Pillow, frame over frame, in 8 bits.
    if (image.format == "TIFF" or getattr(image, "n_frames", 1) == 1) and is_deep(image):
        stored = _deep(path, image, number, load)
    else:
        if image.mode in ("I", "F"):
            raise PictureError("samples of 32 bits have no defined white; save it with 8 or 16 bits")
        _spread_key(image)
        load(image)
        # In an X bitmap 1 is the foreground, black on white; Pillow reads it as white.
        stored = partial(_samples, ImageChops.invert(image) if image.format == "XBM" else image)
    stated = coding or (gamma_of(image) if use_profile and not profile else None)

    def rows(top: int, bottom: int, profiled: bool) -> Samples:  # noqa: FBT001 - as Frame has it
        samples = stored(top, bottom, profile if profiled else b"")
        if stated is None or stated.plain:
            return samples
        return Samples(colours=stated.linear(samples.colours), alpha=samples.alpha)

    turn = orientation(image)  # only now: decoding a TIFF has already turned it, and cleared the tag
    return Frame(width=image.width, height=image.height, orientation=turn, rows=rows, damaged=load.damaged)


def frame_of_page(page: Page) -> Frame:
    """Return a page of a TIFF as a frame, whose rows come with its profile applied or without."""

    def rows(top: int, bottom: int, profiled: bool) -> Samples:  # noqa: FBT001 - as Frame has it
        colours, alpha = page.rows(top, bottom)
        if colours.dtype == np.float32:
            return Samples(colours=colours[:, :, 0] if colours.shape[2] == 1 else colours, alpha=alpha)
        return Samples(colours=_profiled(colours, page.profile if profiled else b""), alpha=alpha)

    return Frame(width=page.width, height=page.height, orientation=page.orientation, rows=rows)


def _samples(image: Image.Image, top: int, bottom: int, profile: bytes) -> Samples:
    """Return 8-bit sRGB samples, and alpha unless the rows cover everything."""
    part = image if (top, bottom) == (0, image.height) else image.crop((0, top, image.width, bottom))
    plain, alpha = part, None
    if part.has_transparency_data:
        full = part.convert("RGBA")
        channel = full.getchannel("A")
        if channel.getextrema() != (255, 255):
            alpha = np.asarray(channel)
        plain = part if part.mode == "L" else full.convert("RGB")
    elif part.mode in ("1", "L"):
        plain = part.convert("L")
    elif part.mode not in ("RGB", "CMYK", "LAB"):
        plain = part.convert("RGB")
    if profile or plain.mode == "LAB":
        plain = to_srgb(plain, profile if plain.mode != "LAB" else b"")
    if plain.mode == "CMYK":
        plain = plain.convert("RGB")
    return Samples(colours=np.asarray(plain), alpha=alpha)


def _spread_key(image: ImageFile.ImageFile) -> None:
    """Scale the transparent grey of a PNG of 2 or 4 bits to 8: Pillow scales the samples, but not their key."""
    factor = {"L;2": 85, "L;4": 17}.get(str(image.tile[0].args)) if image.format == "PNG" and image.tile else None
    key = image.info.get("transparency")
    if factor and isinstance(key, int):
        image.info["transparency"] = min(key * factor, 255)


def _deep(
    path: Path, image: ImageFile.ImageFile, number: int, load: Callable[[ImageFile.ImageFile], object]
) -> Callable[[int, int, bytes], Samples]:
    """Return the function for rows of 16 bits: linear light with a matrix profile, 8 bits with any other; and alpha."""
    mode, key = image.mode, image.info.get("transparency")
    with reading(path) as (file, head), open_picture(path, file, head) as second:

        def again() -> ImageFile.ImageFile:
            if number:
                second.seek(number)
            return second

        stored = deep_rows(image, again, load)

    def rows(top: int, bottom: int, profile: bytes) -> Samples:
        samples = stored(top, bottom)
        alpha = None
        if mode != "CMYK" and samples.shape[2] in (2, 4):
            samples, alpha = samples[:, :, :-1], samples[:, :, -1]
        elif key is not None:
            alpha = np.where((samples == np.atleast_1d(key)).all(axis=2), np.uint16(0), np.uint16(65535))
        return Samples(colours=_profiled(samples, profile), alpha=alpha)

    return rows


def _profiled(samples: UInt16, profile: bytes) -> NDArray[Any]:
    """Apply a profile to 16-bit samples of 1, 3 or 4 channels; without one grey and colour stay unchanged."""
    if samples.shape[2] == 4:
        inks = [Image.fromarray(ink) for ink in np.moveaxis(_upper_bytes(samples), 2, 0)]
        return _managed(Image.merge("CMYK", inks), profile)
    plain = samples[:, :, 0] if samples.shape[2] == 1 else samples
    if not profile:
        return plain
    light = linear_by_matrix(samples, profile)
    return light if light is not None else _managed(Image.fromarray(_upper_bytes(plain)), profile)


def _upper_bytes(samples: UInt16) -> Bytes:
    """Round 16-bit samples to 8 bits."""
    return ((samples.astype(np.uint32) * 255 + 32768) // 65535).astype(np.uint8)


def _managed(image: Image.Image, profile: bytes) -> Bytes:
    if profile:
        image = to_srgb(image, profile)
    return np.asarray(image.convert("RGB"))
