"""Characters of 8x8 dots, drawn for this project: the printable ASCII characters, for text and numbers in pictures."""

from ladderlight_stages.lettering.glyphs import CELL, glyphs

__all__ = ["CELL", "glyphs"]
