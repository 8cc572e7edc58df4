"""Draw the characters of the ferry display: a grid of cells of 8x8 pixels, from space to tilde.

    python draw.py

The shapes are those of ``ladderlight_stages.lettering``. The last of the 96 cells is left empty.
"""

from pathlib import Path

import numpy as np
from PIL import Image

from ladderlight_stages.lettering import CELL, glyphs

HERE = Path(__file__).parent
COLUMNS = 16


def sheet() -> Image.Image:
    """Draw all characters, white on black."""
    dots = np.zeros((-(-len(glyphs()) // COLUMNS) * CELL, COLUMNS * CELL), dtype=bool)
    for number, glyph in enumerate(glyphs().values()):
        row, column = divmod(number, COLUMNS)
        dots[row * CELL : (row + 1) * CELL, column * CELL : (column + 1) * CELL] = glyph
    return Image.fromarray(dots)


if __name__ == "__main__":
    sheet().save(HERE / "pictures" / "characters.png", optimize=True)
