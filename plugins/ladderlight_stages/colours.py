"""Colours in recipes: a name, or ``#rrggbb``."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from PIL import ImageColor

from ladderlight import MisfitError
from ladderlight.board import linear_from_srgb
from ladderlight.units.arrays import Singles

if TYPE_CHECKING:
    from pydantic_core import CoreSchema


class Colour(str):
    """Type of an option that is a colour: a CSS name such as ``"grey"``, or ``"#rrggbb"``.

    Any other text is refused before any picture is opened.
    """

    __slots__ = ()

    @classmethod
    def __get_pydantic_core_schema__(cls, _source: object, _handler: object) -> CoreSchema:
        from pydantic_core import core_schema

        return core_schema.no_info_after_validator_function(_checked, core_schema.str_schema(strict=True))


BLACK, WHITE = Colour("black"), Colour("white")


@lru_cache(maxsize=16)
def linear_colour(colour: Colour) -> Singles:
    """Return the linear light of a colour, float32 (3,), 0 to 1. Raises MisfitError when it is not an opaque one."""
    return linear_from_srgb(np.array(_encoded(colour)) / 255).astype(np.float32)


def _checked(text: str) -> Colour:
    _encoded(text)
    return Colour(text)


def _encoded(text: str) -> tuple[int, ...]:
    try:
        encoded: tuple[int, ...] = ImageColor.getrgb(text)
    except ValueError:
        encoded = ()
    if len(encoded) != 3:
        raise MisfitError(f"is {text!r}, which is not an opaque colour", 'write a name such as "grey", or "#rrggbb"')
    return encoded
