"""A tile set as one picture, and how often the screens show each tile."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board
from ladderlight.board.scanning.scan import Scan
from ladderlight.flow.pictures import TileSet

PER_ROW = 32
_TARGET = 36  # about how many pixels of the sheet a tile is to be wide
_GAP = 2
_GROUND = 0xC8


def tile_sheet(board: Board, tiles: TileSet) -> NDArray[np.uint8]:
    """Lay the tiles out by their numbers, 32 in a row, enlarged by a whole factor, on grey.

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


def tiles_shown(board: Board, read: Scan, tiles: TileSet) -> NDArray[np.int64]:
    """List what one scan shows: int64, a column for each tile at each place, the tile first, -1 for none of the set.

    A place is an address of the memories that choose the tiles, the map.
    """
    tile_at = np.full(board.memory(tiles.memory).words, -1, dtype=np.int64)
    tile_at[tiles.addresses] = np.arange(len(tiles.addresses))[:, None]
    sources = [board.memory(source) for source in sorted(board.behind(board.memory(tiles.memory)))]
    maps = [read.addresses[source.name] * source.packing.pixels + read.slots[source.name] for source in sources]
    columns = np.stack([row.ravel() for row in (tile_at[read.addresses[tiles.memory]], *maps)])
    key = np.zeros(columns.shape[1], dtype=np.int64)
    for row in columns:
        key = np.unique(key * (int(row.max()) + 2) + row + 1, return_inverse=True)[1].reshape(key.shape)
    return columns[:, np.unique(key, return_index=True)[1]]


def places_of(tiles: TileSet, shown: Sequence[NDArray[np.int64]]) -> NDArray[np.int64]:
    """Count the places that show each tile, from what scans show: int64, shape (tiles,).

    A place that is read again, elsewhere on the screen or in another bank, counts once.
    """
    tile = np.unique(np.concatenate(shown, axis=1), axis=1)[0]
    return np.bincount(tile[tile >= 0], minlength=len(tiles.addresses))
