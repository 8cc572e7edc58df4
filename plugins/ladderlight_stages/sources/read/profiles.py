"""Conversion of embedded colour profiles to sRGB."""

import io
from functools import lru_cache

import numpy as np
from PIL import Image, ImageCms

_SPACE_OF_MODE = {"RGB": "RGB ", "L": "GRAY", "CMYK": "CMYK", "LAB": "Lab "}
_WORDS = {"L": "grey", "LAB": "Lab"}
_MODE_OF_SPACE = {space: mode for mode, space in _SPACE_OF_MODE.items()}


class ProfileError(ValueError):
    """A profile cannot be used for the picture that carries it."""


def to_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    """Convert a picture from its profile's colours to sRGB.

    Raises ProfileError when the profile cannot be read or is for another kind of picture.

    Perceptual intent with black-point compensation (ISO 18619), by LittleCMS through ``PIL.ImageCms``.

    Parameters
    ----------
    image
        Mode RGB, L, CMYK or LAB.
    profile
        The ICC profile; empty for LAB, which needs none.

    Returns
    -------
    Image
        Mode RGB. The same object when the profile is sRGB itself.
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
