"""Tiles at chosen numbers."""

from collections.abc import Sequence

import numpy as np

from ladderlight import ArrangementError, Board, Contents, Frozen, TileSet
from ladderlight.board import Memory
from ladderlight.units.arrays import Codes, Ints
from ladderlight_stages.tiling.tile_wiring import (
    TileWiring,
    combine,
    counter_words,
    joint_drives,
    parities,
    tile_wiring_of,
)
from ladderlight_stages.tiling.tiling import finest_sources
from ladderlight_stages.tiling.word_sheets import Sheets


class Grid(Frozen, eq=False):
    """The tiles of one bank on the screen. The arrays are int64, shape (height, width) of the board's picture."""

    wiring: TileWiring
    pool: Ints
    offset: Ints
    """What the counters add to the number from the map."""
    turn: Ints
    """The turn of the map that shows each tile upright."""
    row: Ints
    column: Ints


def tile_size(board: Board) -> tuple[int, int]:
    """Return the pixels across and down a tile of the board's tile memory.

    Raises ArrangementError when its tiles are not rectangles.
    """
    shape = tile_grid(board).wiring.shape
    return shape[2], shape[1]


def numbered_tiles(board: Board, cells: Sequence[Codes], first: int) -> Contents:
    """Place tiles of codes, each of the wiring's size, at consecutive numbers.

    Where counters choose among several parts of the tile memory, the tiles are written to all of them. Raises
    ArrangementError when there are more tiles than numbers.
    """
    grid = tile_grid(board)
    wiring, pools = grid.wiring, np.unique(grid.pool)
    if first + len(cells) > wiring.capacity:
        raise ArrangementError(
            f"{len(cells)} cells from number {first} on need {first + len(cells)} tiles, but the map can choose among "
            f"{wiring.capacity}; take fewer, or wire more map lines to the tile memory"
        )
    sheets = Sheets(board=board)
    if not cells:
        return Contents(memories=sheets.contents())
    codes = np.stack([cell.ravel() for cell in cells])
    numbers = np.arange(first, first + len(cells), dtype=np.int64)
    addresses = []
    for pool in pools:
        joint = wiring.joint(numbers, int(pool))
        addresses.append(wiring.address(board, wiring.memories[0], joint)[0])
        for memory in wiring.memories:
            pins = [sum(1 << pin for pin, name in enumerate(memory.data) if name == line) for line in board.code_lines]
            values = combine(codes, pins).astype(np.uint32)
            sheets.put(memory, *wiring.address(board, memory, joint), values, sum(pins))
    tile_set = TileSet(
        memory=wiring.memories[0].name,
        codes=codes.reshape(-1, *wiring.shape[1:]),
        numbers=numbers,
        addresses=np.concatenate(addresses, axis=1),
    )
    return Contents(memories=sheets.contents(), tile_sets=(tile_set,))


def tile_grid(board: Board, bank: int = 0) -> Grid:
    """Work out the tiles of one bank. Raises ArrangementError when they are not rectangles of neighbouring pixels."""
    memories: list[Memory] = list(board.driving_memories)
    words = counter_words(board.x_grid.samples[None, :], board.y_grid.samples[:, None], board.bank_levels([[bank]]))
    drives = joint_drives(board, memories)
    outputs = sorted({output for drive in drives for output in drive.outputs})
    keys, free = finest_sources(board, outputs, words)
    base = parities(words, [drive.counters for drive in drives])
    _, first, cell = np.unique(keys, return_index=True, return_inverse=True)
    cell = cell.reshape(words.shape)
    wiring = tile_wiring_of(memories, drives, free, base, words, first[cell])
    position, offset, pool = wiring.locate(base)
    expected = sum(((words >> bit & 1) << index for index, bit in enumerate(wiring.counters)), np.zeros_like(words))
    order = np.argsort(wiring.turns)
    turn = order[np.searchsorted(wiring.turns, position ^ expected, sorter=order).clip(max=len(order) - 1)]
    if not wiring.rectangular or np.any(wiring.turns[turn] != position ^ expected):
        label = " and ".join(repr(memory.name) for memory in memories)
        raise ArrangementError(
            f"the tiles of memory {label} are not rectangles of neighbouring pixels, so a grid cannot be cut for "
            "them; use tiles"
        )
    row, column = (np.cumsum(np.diff(line, prepend=line[:1]) != 0, dtype=np.int64) for line in (cell[:, 0], cell[0, :]))
    shape = words.shape
    return Grid(
        wiring=wiring,
        pool=pool,
        offset=offset,
        turn=turn,
        row=np.broadcast_to(row[:, None], shape),
        column=np.broadcast_to(column[None, :], shape),
    )
