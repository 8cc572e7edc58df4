"""Tiles at numbers of one's own choice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ladderlight import ArrangementError, Board, Contents, TileSet
from ladderlight.board import Memory
from ladderlight_stages.arrangements.fitting import driving_memories
from ladderlight_stages.arrangements.sheets import Sheets
from ladderlight_stages.arrangements.tile_wiring import (
    TileWiring,
    counter_words,
    joint_drives,
    parities,
    tile_wiring_of,
)
from ladderlight_stages.arrangements.tiling import finest_sources

Ints = NDArray[np.int64]


def tile_size(board: Board) -> tuple[int, int]:
    """Give the pixels across and down a tile of the board's tile memory.

    Raises
    ------
    ArrangementError
        When its tiles are no rectangles.
    """
    wiring, _ = _wiring(board)
    return wiring.shape[2], wiring.shape[1]


def numbered_tiles(board: Board, cells: Sequence[NDArray[np.uint16]], first: int) -> Contents:
    """Place tiles of codes, each of the wiring's size, at consecutive numbers.

    Where counters choose among several parts of the tile memory, the tiles stand in all of them.

    Raises
    ------
    ArrangementError
        When there are more tiles than numbers.
    """
    wiring, pools = _wiring(board)
    if first + len(cells) > wiring.capacity:
        raise ArrangementError(
            f"{len(cells)} cells from number {first} on need {first + len(cells)} tiles, but the map can choose among "
            f"{wiring.capacity}; take fewer, or give the map more lines to the tile memory"
        )
    sheets = Sheets(board=board)
    if not cells:
        return Contents(memories=sheets.contents())
    codes = np.stack([cell.ravel() for cell in cells])
    numbers = np.arange(first, first + len(cells), dtype=np.int64)
    bits = {line: bit for bit, line in enumerate(board.code_lines)}
    for pool in pools:
        positions = np.arange(wiring.positions, dtype=np.int64)[None, :]
        joint = wiring.joint(positions, numbers[:, None], np.array(pool))
        for memory in wiring.memories:
            values, mask = np.zeros(codes.shape, dtype=np.uint32), 0
            for pin, name in enumerate(memory.data):
                if name in bits:
                    values |= (codes.astype(np.uint32) >> np.uint32(bits[name]) & np.uint32(1)) << np.uint32(pin)
                    mask |= 1 << pin
            sheets.put(memory, *wiring.address(board, memory, joint), values, mask)
    tile_set = TileSet(
        memory=wiring.memories[0].name,
        codes=codes.reshape(-1, *wiring.shape[1:]),
        numbers=numbers,
        uses=np.zeros(len(cells), dtype=np.int64),
    )
    return Contents(memories=sheets.contents(), tile_sets=(tile_set,))


def _wiring(board: Board) -> tuple[TileWiring, Ints]:
    """Work out the tiles of one bank, and the pools that its pixels choose among."""
    memories: list[Memory] = driving_memories(board)
    words = counter_words(
        board.x_grid.samples[None, :], board.y_grid.samples[:, None], np.zeros((1, 1), dtype=np.int64)
    )
    drives = joint_drives(board, memories)
    outputs = sorted({output for drive in drives for output in drive.outputs})
    keys, free = finest_sources(board, outputs, words)
    base = parities(words, [drive.counters for drive in drives])
    _, first, cell = np.unique(keys, return_index=True, return_inverse=True)
    cell = cell.reshape(words.shape)
    moving = int(np.bitwise_or.reduce((words ^ words.ravel()[first][cell]).ravel()))
    wiring = tile_wiring_of(memories, drives, free, base ^ base.ravel()[first][cell], moving)
    position, _, pool = wiring.locate(base)
    expected = sum(((words >> bit & 1) << index for index, bit in enumerate(wiring.counters)), np.zeros_like(words))
    label = " and ".join(repr(memory.name) for memory in memories)
    if not wiring.rectangular or not np.isin(position ^ expected, wiring.turns).all():
        raise ArrangementError(
            f"the tiles of memory {label} are no rectangles of neighbouring pixels, so a grid cannot be cut for them; "
            "use tiles"
        )
    return wiring, np.unique(pool)
