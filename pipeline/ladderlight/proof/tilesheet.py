"""A tile set as one picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board
from ladderlight.pictures import TileSet

PER_ROW = 32
_TARGET = 36
"""About how many pixels of the sheet a tile is to be wide."""
_GAP = 2
_GROUND = 0xC8


def tile_sheet(board: Board, tiles: TileSet) -> NDArray[np.uint8]:
    """Lay the tiles out by their numbers, 32 in a row, enlarged by a whole factor, on grey.

    Returns
    -------
    uint8, shape (height, width, 3), sRGB.
    """
    count, height, width = tiles.codes.shape
    scale = max(1, _TARGET // width)
    columns = min(PER_ROW, max(count, 1))
    rows = -(-max(count, 1) // columns)
    pitch_x, pitch_y = width * scale + _GAP, height * scale + _GAP
    sheet = np.full((rows * pitch_y + _GAP, columns * pitch_x + _GAP, 3), _GROUND, dtype=np.uint8)
    shown = board.palette.srgb8[tiles.codes].repeat(scale, axis=1).repeat(scale, axis=2)
    for at, tile in enumerate(shown):
        top, left = at // columns * pitch_y + _GAP, at % columns * pitch_x + _GAP
        sheet[top : top + height * scale, left : left + width * scale] = tile
    return sheet
