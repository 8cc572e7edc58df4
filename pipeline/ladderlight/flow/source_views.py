"""Views of pictures as they were before the reduction."""

import io
from functools import cache

import numpy as np

from ladderlight.board import srgb_from_linear
from ladderlight.flow.pictures import Picture, SourceView
from ladderlight.units.arrays import Bytes

_QUALITY = 75
_HALVED_COLOUR = 2
"""Pillow's number for colour at half the resolution both ways."""
_STEPS = 65535
_STRIP = 32
"""Lines at a time: few enough for the processor's cache."""


def source_view(picture: Picture) -> SourceView:
    """Return a picture as a JPEG with sRGB colours, and what it shows of its file."""
    from PIL import Image

    shown = np.empty(picture.pixels.shape, dtype=np.uint8)
    for top in range(0, len(shown), _STRIP):
        steps = picture.pixels[top : top + _STRIP] * np.float32(_STEPS)
        np.clip(steps + np.float32(0.5), 0, _STEPS, out=steps)
        np.take(_srgb8(), steps.astype(np.uint16), out=shown[top : top + _STRIP])
    file = io.BytesIO()
    Image.fromarray(shown).save(file, format="JPEG", quality=_QUALITY, subsampling=_HALVED_COLOUR)
    if picture.part is None:
        return SourceView(data=file.getvalue())
    return SourceView(data=file.getvalue(), size=picture.part.size, crop=picture.part.crop)


@cache
def _srgb8() -> Bytes:
    return np.rint(srgb_from_linear(np.arange(_STEPS + 1) / _STEPS) * 255).astype(np.uint8)
