"""Colours as a recipe writes them: a name, or ``#rrggbb``."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import ImageColor

from ladderlight import PictureError
from ladderlight.board import linear_from_srgb


def linear_colour(text: str, *, option: str) -> NDArray[np.float32]:
    """Give the linear light of a colour that an option names.

    Parameters
    ----------
    text
        A CSS colour name such as ``"grey"``, ``"#rrggbb"``, or another opaque form that ``PIL.ImageColor`` knows.
    option
        The option's name, for the message.

    Returns
    -------
    ndarray
        float32, shape (3,), 0 to 1.

    Raises
    ------
    PictureError
        When the text is no opaque colour.
    """
    try:
        encoded: tuple[int, ...] = ImageColor.getrgb(text)
    except ValueError:
        encoded = ()
    if len(encoded) != 3:
        raise PictureError(f'{option} = "{text}" is not an opaque colour; write a name such as "grey", or "#rrggbb"')
    return linear_from_srgb(np.array(encoded) / 255).astype(np.float32)
