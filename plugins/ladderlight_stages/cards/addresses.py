"""A field in which every address bit can be told apart."""

import numpy as np

from ladderlight import Board, CodedPicture, stage
from ladderlight.colour.spaces import LUMINANCE
from ladderlight.units.arrays import Flags, Floats, Ints
from ladderlight_stages.drawing import Cells, cells_of, codes_of_shares
from ladderlight_stages.tiling.unique_tiles import splitmix

_FRAME = 32  # the bright frame takes this part of the shorter side
_STREAKS = ((0, 4), (4, 0))
"""Width and height of the finest blocks, as powers of two. Blur across a streak takes less than from single pixels."""
_STREAK_WEIGHT = 2
"""Against 1 of the others; measured: it doubles what a blur of one pixel leaves of the least visible exchange."""

_TILE_WEIGHT = 3
"""Of a tile's own colour, against 1 of the finer blocks in it, so that tiles differ in a blurred photograph too."""


@stage(help="A field of blocks of all sizes in all colours: each wrong address line changes it in its own way.")
def addresses(board: Board) -> CodedPicture:
    """Draw blocks of random colours, from streaks of 1 by 16 pixels up to half the picture, over each other.

    An address line that is stuck, inverted, exchanged or bridged moves pixels by the size of its bit. Blocks of every
    size show each such move, the large ones in a small or blurred photograph too. No block begins where a counter's bit
    changes, so that no exchange of pixels stays inside a block. All colours are about as frequent, so that wrong data
    lines show as well. The frame has the brighter half of the colours, so that it can be told from dark surroundings.
    On a board with a tile map, the map's cells take the place of pixels. Each tile has blocks of its own, and half of
    the tiles that the map can name are used, so that other cards fit beside.
    """
    cells = cells_of(board)
    if cells.tiled:
        return CodedPicture.of_card(codes_of_shares(board, _tiled(cells)))
    width, height = board.geometry.width, board.geometry.height
    shares = np.stack([_evenly(_field(width, height, gun)) for gun in range(3)], axis=-1)
    outside = _outside(width, height)
    shares[outside] = (1 + shares[outside]) / 2
    return CodedPicture.of_card(codes_of_shares(board, shares))


def _outside(width: int, height: int) -> Flags:
    frame = max(1, min(width, height) // _FRAME)
    outside = np.ones((height, width), dtype=bool)
    outside[frame:-frame, frame:-frame] = False
    return outside


def _tiled(cells: Cells) -> Floats:
    """Return shares of drive, (height, width, 3), in half as many different tiles as the map can name."""
    across, down = int(cells.columns[-1]) + 1, int(cells.rows[-1]) + 1
    choice = _evenly(_field(across, down, 3))
    outside = _outside(across, down)
    choice[outside] = (3 + choice[outside]) / 4
    tiles = _tiles(cells, max(1, cells.tiles // 2))
    tile = (choice * len(tiles)).astype(np.int64)
    x, y = _within(cells.columns, cells.width), _within(cells.rows, cells.height)
    place = np.stack(np.broadcast_arrays(y[:, None], x[None, :]), axis=-1)
    for axis, (size, mirrors) in enumerate(zip((cells.height, cells.width), reversed(cells.mirrors), strict=True)):
        turned = _mixed(np.arange(down * across) + (axis << 40)).reshape(down, across) % 2 == 1
        at = np.where(turned[np.ix_(cells.rows, cells.columns)] & mirrors, size - 1, 0)
        place[..., axis] ^= at
    return np.asarray(tiles[tile[np.ix_(cells.rows, cells.columns)], place[..., 0], place[..., 1]])


def _tiles(cells: Cells, count: int) -> Floats:
    """Return the tiles, from dark to bright: shares of drive, (tiles, height, width, 3)."""
    height, width = cells.height, cells.width
    number, down, across = np.indices((count, height, width))
    guns = []
    for gun in range(3):
        total = np.zeros(number.shape, dtype=np.int64)
        for size in range(max(height, width).bit_length()):
            weight = _TILE_WEIGHT if 1 << size >= max(height, width) else 1
            block = (number << 32) + (down >> size << 16) + (across >> size << 8) + 3 * size + gun
            total += weight * _mixed(block + (1 << 50))
        guns.append(_evenly(total))
    tiles = np.stack(guns, axis=-1)
    return tiles[np.argsort(tiles.mean(axis=(1, 2)) @ LUMINANCE, kind="stable")]


def _within(cells: Ints, size: int) -> Ints:
    """Return where each pixel lies in its cell. A cell that the edge of the picture cuts off is the first one."""
    first = np.searchsorted(cells, cells)
    missing = size - int(np.sum(cells == 0)) if cells[-1] else 0
    return np.arange(len(cells)) - first + np.where(cells == 0, missing, 0)


def _field(width: int, height: int, gun: int) -> Ints:
    """Add up blocks of all sizes, each with a number of its own, 0 to 65535: int64 (height, width)."""
    squares = [(size, size) for size in range(1, max(width, height).bit_length())]
    total = np.zeros((height, width), dtype=np.int64)
    for number, (wide, high) in enumerate([*_STREAKS, *squares]):
        key = 3 * number + gun
        # Shifted by an odd number of pixels, so that no block begins where a bit of a counter changes.
        right, down = (
            int(_mixed(np.array([2 * key + axis]))[0]) % (1 << size) | 1 for axis, size in enumerate((wide, high))
        )
        across, along = np.arange(width) + right >> wide, np.arange(height) + down >> high
        weight = _STREAK_WEIGHT if number < len(_STREAKS) else 1
        total += weight * _mixed((along[:, None] << 32) + (across[None, :] << 8) + key)
    return total


def _mixed(numbers: Ints) -> Ints:
    """Return a number from 0 to 65535 for each number, as if at random."""
    return splitmix(numbers).astype(np.int64) & 0xFFFF


def _evenly(field: Ints) -> Floats:
    """Return the share of the pixels below each, from 0 up to 1: float64 of the field's shape."""
    order = np.argsort(field, axis=None, kind="stable")
    ranks = np.empty(field.size)
    ranks[order] = np.arange(field.size)
    return (ranks / field.size).reshape(field.shape)
