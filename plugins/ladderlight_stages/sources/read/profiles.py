"""Conversion of embedded colour profiles: by LittleCMS to sRGB, or by their curves and matrix to linear light.

LittleCMS takes 8 bits through Pillow. The profiles of cameras, scanners and monitors are simple enough to be computed
here for pictures of 16: a curve for each channel, then a matrix. All rendering intents are the same for them, and their
black is black, so black needs no compensation.
"""

import io
import struct
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from ladderlight.units.arrays import Floats, Singles

_SPACE_OF_MODE = {"RGB": "RGB ", "L": "GRAY", "CMYK": "CMYK", "LAB": "Lab "}
_WORDS = {"L": "grey", "LAB": "Lab"}
_MODE_OF_SPACE = {space: mode for mode, space in _SPACE_OF_MODE.items()}
_SRGB_UNDER_D50 = np.array([[0.4360, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]])
"""Linear sRGB to XYZ adapted to D50, as sRGB profiles hold it (IEC 61966-2-1 and ICC.1:2022, annex E)."""


class ProfileError(ValueError):
    """A profile cannot be used for the picture that carries it."""


def to_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    """Convert a picture from its profile's colours to sRGB.

    The picture's mode is RGB, L, CMYK or LAB, which needs no profile; the result's is RGB, the same object when the
    profile is sRGB itself. Perceptual intent with black-point compensation (ISO 18619), by LittleCMS through
    ``PIL.ImageCms``. Raises ProfileError when the profile cannot be read or is for another kind of picture.
    """
    mode = profile_mode(profile) if profile else "LAB"
    if mode == "RGB" and image.mode == "L":  # a grey picture with its camera's profile
        image = image.convert("RGB")
    if mode == "L" and image.mode == "RGB" and _is_grey(image):  # grey that came with alpha, or as a palette
        image = image.getchannel(0)
    if mode != image.mode:
        wanted, given = (_WORDS.get(name, name) for name in (mode, image.mode))
        raise ProfileError(f"its colour profile is for {wanted}, but the picture is {given}")
    transform = _transform(profile, mode)
    return image if transform is None else transform.apply(image)


def _is_grey(image: Image.Image) -> bool:
    samples = np.asarray(image)
    return bool((samples == samples[:, :, :1]).all())


def profile_mode(profile: bytes) -> str:
    """Return the mode of the pictures that a profile is for.

    Raises ProfileError when the profile cannot be read, or is for a kind of picture that is not supported.
    """
    try:
        space = ImageCms.ImageCmsProfile(io.BytesIO(profile)).profile.xcolor_space
    except (OSError, ValueError) as error:
        raise ProfileError("its colour profile is broken") from error
    if space not in _MODE_OF_SPACE:
        raise ProfileError(f"its colour profile is for {space.strip()}, which is not supported")
    return _MODE_OF_SPACE[space]


@lru_cache(maxsize=32)
def _transform(profile: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """Return a transform, or None when it would change nothing. Threads may share one of LittleCMS."""
    try:
        transform = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(io.BytesIO(profile)) if profile else ImageCms.createProfile("LAB"),
            ImageCms.createProfile("sRGB"),
            mode,
            "RGB",
            renderingIntent=ImageCms.Intent.PERCEPTUAL,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        raise ProfileError("its colour profile is broken") from error
    if mode != "RGB":
        return transform
    # Most cameras embed sRGB. Such pictures stay exact when they are not converted, and it is faster.
    steps = np.linspace(0, 255, 18).astype(np.uint8)
    probe = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(18, -1, 3)
    changed = np.asarray(transform.apply(Image.fromarray(probe)))
    same = np.abs(changed.astype(np.int16) - probe).max() <= 1
    return None if same else transform


def linear_by_matrix(samples: NDArray[np.uint16], profile: bytes) -> Singles | None:
    """Decode uint16 samples, (height, width, 1 or 3), by an ICC profile of curves and a matrix.

    float32, linear light with sRGB primaries, 0 to 1, shape (height, width) or (height, width, 3); None when the
    profile is of another kind.
    """
    parts = _parts(profile, samples.shape[2])
    if parts is None:
        return None
    curves, matrix = parts
    light = np.stack([curve.take(samples[:, :, gun]) for gun, curve in enumerate(curves)], axis=-1)
    mixed: Singles = light[:, :, 0] if matrix is None else np.clip(light @ matrix.T, 0, 1)
    return mixed


@lru_cache(maxsize=8)
def _parts(profile: bytes, channels: int) -> tuple[list[Singles], Singles | None] | None:
    """Return the curves, each of 65,536 entries, and the matrix to linear sRGB; None as the matrix for grey."""
    try:
        tags = _tags(profile)
        if b"A2B0" in tags:
            return None
        if channels == 1:
            return [_curve(tags[b"kTRC"])], None
        curves = [_curve(tags[gun + b"TRC"]) for gun in (b"r", b"g", b"b")]
        colorants = np.array([struct.unpack_from(">3i", tags[gun + b"XYZ"], 8) for gun in (b"r", b"g", b"b")]).T / 65536
    except (LookupError, ValueError, struct.error):
        return None
    return curves, (np.linalg.inv(_SRGB_UNDER_D50) @ colorants).astype(np.float32)


def _tags(profile: bytes) -> dict[bytes, bytes]:
    """Read the tag table (ICC.1:2022, section 7.3)."""
    (count,) = struct.unpack_from(">I", profile, 128)
    table = (struct.unpack_from(">4sII", profile, 132 + 12 * entry) for entry in range(min(count, 100)))
    return {signature: profile[start : start + size] for signature, start, size in table}


def _curve(tag: bytes) -> Singles:
    """Tabulate a curve (ICC.1:2022, sections 10.6 and 10.18) over 65,536 samples."""
    samples = np.linspace(0, 1, 65536)
    if tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        numbers = [value / 65536 for value in struct.unpack_from(f">{(1, 3, 4, 5, 7)[kind]}i", tag, 12)]
        return np.clip(_formula(samples, kind, numbers), 0, 1).astype(np.float32)
    if tag[:4] != b"curv":
        raise ValueError(tag[:4])
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return samples.astype(np.float32)
    values = np.array(struct.unpack_from(f">{count}H", tag, 12))
    if count == 1:
        return np.asarray(samples ** (values[0] / 256), dtype=np.float32)
    return np.interp(samples, np.linspace(0, 1, count), values / 65535).astype(np.float32)


def _formula(x: Floats, kind: int, numbers: list[float]) -> Floats:
    gamma, a, b, c, d, e, f = (numbers + [1.0, 0.0, 0.0, 0.0, 0.0, 0.0][len(numbers) - 1 :])[:7]
    if kind == 0:
        return x**gamma
    power = np.maximum(a * x + b, 0) ** gamma
    if kind in (1, 2):
        offset = c if kind == 2 else 0.0
        return np.where(x >= -b / a, power + offset, offset)
    return np.where(x >= d, power + (e if kind == 4 else 0.0), c * x + (f if kind == 4 else 0.0))
