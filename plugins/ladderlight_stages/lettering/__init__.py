"""Characters of 8x8 dots, drawn for this project: the printable ASCII characters, for text and numbers in pictures."""

from functools import cache
from importlib.resources import files
from types import MappingProxyType

import numpy as np

from ladderlight.units.arrays import Flags

Glyph = Flags

CELL = 8
"""Dots across and down a character's cell. The rightmost column is empty, so letters side by side do not touch."""

_PITCH = CELL + 2  # two blanks between the characters of a row


@cache
def glyphs() -> MappingProxyType[str, Glyph]:
    """Return the dots of every printable ASCII character, from space to tilde, each of shape (8, 8).

    They are drawn in ``glyphs.txt``: eight characters a row, in the order of their codes, ``#`` for a dot.
    """
    drawing = (files("ladderlight_stages.lettering") / "glyphs.txt").read_text(encoding="ascii")
    drawn = [
        "\n".join(line[start : start + CELL] for line in rows.splitlines())
        for rows in drawing.strip().split("\n\n")
        for start in range(0, rows.index("\n"), _PITCH)
    ]
    return MappingProxyType({chr(code): _dots(picture) for code, picture in enumerate(drawn, start=ord(" "))})


def _dots(picture: str) -> Glyph:
    dots = np.array([[mark == "#" for mark in line] for line in picture.splitlines()])
    dots.flags.writeable = False
    return dots
