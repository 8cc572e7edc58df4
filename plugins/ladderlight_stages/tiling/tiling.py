"""The tiles of memories that others address: found, thinned when there are too many, numbered and written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ladderlight import ArrangementError, Board, TileSet
from ladderlight.board import Memory
from ladderlight.board.scanning.levels import Pin
from ladderlight.units.arrays import Codes, Ints
from ladderlight_stages.tiling.cells import Cells, cut
from ladderlight_stages.tiling.thinning import coarse_points, thin, tile_points
from ladderlight_stages.tiling.tile_wiring import (
    TileWiring,
    joint_drives,
    parities,
    tile_wiring_of,
    turned_by,
    turned_by_counters,
)
from ladderlight_stages.tiling.unique_tiles import UniqueTiles, stable_numbers, unique_tiles
from ladderlight_stages.tiling.word_sheets import Sheets

_MOST_DRIVES = 62


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A recipe's choices: the numbers that tiles may have, and whether to turn and to merge them."""

    first: int = 0
    count: int | None = None
    turn: bool = True
    merge: bool = True


@dataclass(frozen=True, kw_only=True, eq=False)
class Pool:
    """The tiles in one part of a memory."""

    pool: int
    unique: UniqueTiles
    numbers: Ints
    found: int
    """Unique tiles before any were merged."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Tiling:
    """The tiles of some memories. ``map_words`` int64 (pictures, height, width): the map's free pins at each pixel."""

    wiring: TileWiring
    cells: Cells
    pools: tuple[Pool, ...]
    map_words: Ints
    most: int

    @property
    def merged(self) -> bool:
        """Whether tiles are shown as others."""
        return any(pool.found > len(pool.numbers) for pool in self.pools)

    def write(self, board: Board, sheets: Sheets) -> None:
        """Put the tiles into the memories."""
        positions = np.arange(self.wiring.positions, dtype=np.int64)[None, :]
        for pool in self.pools:
            joint = self.wiring.joint(positions, pool.numbers[:, None], np.array(pool.pool))
            read = pool.unique.read
            for memory in self.wiring.memories:
                address, slot = self.wiring.address(board, memory, joint)
                values, mask = self.cells.unpack(pool.unique.tiles, memory)
                sheets.put(memory, address[read], slot[read], values[read], mask)

    def tile_sets(self, board: Board) -> list[TileSet]:
        """Return the tiles in the memory, by number."""
        frames, lines, pixels = self.wiring.shape
        memory = self.wiring.memories[0]
        positions = np.arange(self.wiring.positions, dtype=np.int64)[None, :]
        sets = []
        for pool in self.pools:
            order = np.argsort(pool.numbers)
            codes = self.cells.codes_of(pool.unique.tiles[order])
            numbers = pool.numbers[order]
            joint = self.wiring.joint(positions, numbers[:, None], np.array(pool.pool))
            sets.append(
                TileSet(
                    memory=memory.name,
                    codes=codes.reshape(-1, frames * lines, pixels),
                    numbers=numbers,
                    addresses=self.wiring.address(board, memory, joint)[0],
                )
            )
        return sets

    def note(self) -> str:
        """Return in one line how many tiles there are."""
        memories = " and ".join(repr(memory.name) for memory in self.wiring.memories)
        frames, lines, pixels = self.wiring.shape
        size = f"{pixels}x{lines} pixels" + f" in {frames} frames" * (frames > 1)
        found, kept = sum(pool.found for pool in self.pools), sum(len(pool.numbers) for pool in self.pools)
        text = (
            f"memory {memories}: {found} unique tiles of {size} in {self.cells.count} places"
            if self.wiring.positions > 1
            else f"memory {memories}: {found} unique words"
        )
        room = f"there is room for {self.most}"
        if len(self.pools) > 1:
            room = f"in each of {len(self.pools)} parts {room}"
        if found > kept:
            replaced = "1 of them is" if found - kept == 1 else f"{found - kept} of them are"
            return f"{text}; {room}, so {replaced} replaced by the most similar tile"
        return f"{text}; {room}"


def finest_sources(board: Board, outputs: Sequence[Pin], words: Ints) -> tuple[Ints, list[Pin]]:
    """Find the map: the memories among the owners of some outputs that can be told apart on the smallest areas.

    Returns keys, of the shape of ``words``, and the map's outputs; pixels with equal keys share all words of the map.
    """
    names = dict.fromkeys(name for name, _ in outputs)
    sets = {name: turned_by_counters(board, board.memory(name)) for name in names}
    keys = {name: parities(words, sets[name]) for name in names}
    counts = {name: np.unique(keys[name]).size for name in names}
    if not names:
        return np.zeros_like(words), []
    finest = max(names, key=lambda name: (counts[name], name))
    as_fine = {
        name
        for name in names
        if counts[name] == counts[finest]
        and np.unique(keys[name].ravel() * (int(keys[finest].max()) + 1) + keys[finest].ravel()).size == counts[finest]
    }
    return keys[finest], [output for output in outputs if output[0] in as_fine]


def tile_cells(
    board: Board,
    memories: Sequence[Memory],
    *,
    values: Mapping[str, NDArray[np.uint32]],
    masks: Mapping[str, int],
    codes: Codes,
    words: Ints,
    keys: Ints,
    free: Sequence[Pin],
    fixed: Mapping[Pin, Ints],
    choice: Choice,
    names: Sequence[tuple[str, int]],
) -> Tiling:
    """Cut the outputs of memories into cells, and find, thin and number their tiles.

    Raises ArrangementError when two places show the same word with any map, or there are too many tiles and they may
    not be merged.
    """
    label = " and ".join(repr(memory.name) for memory in memories)
    _, first, cell = np.unique(keys, return_index=True, return_inverse=True)
    cell = cell.reshape(words.shape)
    drives = joint_drives(board, memories)
    if len(drives) > _MOST_DRIVES:
        raise ArrangementError(
            f"memories {label} that one map addresses have {len(drives)} differently driven address pins together; "
            f"{_MOST_DRIVES} is the most; wire their addresses alike"
        )
    base = parities(words, [drive.counters for drive in drives])
    for output, level in fixed.items():
        base ^= level * turned_by(drives, output)
    moving = int(np.bitwise_or.reduce((words ^ words.ravel()[first][cell]).ravel()))
    wiring = tile_wiring_of(memories, drives, free, base ^ base.ravel()[first][cell], moving)
    if not choice.turn:
        wiring = replace(wiring, turns=wiring.turns[:1])
    position, offset, pool = wiring.locate(base)
    cells = cut(
        board,
        memories,
        values=values,
        masks=masks,
        codes=codes,
        cell=cell,
        position=position,
        wiring=wiring,
        names=names,
    )
    offsets, pool_of = offset.ravel()[first], pool.ravel()[first]
    last = wiring.capacity if choice.count is None else min(wiring.capacity, choice.first + choice.count)
    usable = np.arange(choice.first, last, dtype=np.int64)
    if not usable.size:
        raise ArrangementError(
            f"memory {label} has room for {wiring.capacity} tiles, so none is left from number {choice.first} on; "
            "lower first or raise count"
        )
    pools, cell_words = [], np.zeros(len(first), dtype=np.int64)
    for number in np.unique(pool_of):
        members = np.flatnonzero(pool_of == number)
        unique = unique_tiles(cells.values[members], wiring.turns, shown=cells.shown[members])
        found = unique.count
        if found > len(usable):
            if not choice.merge:
                raise ArrangementError(
                    f"{found} unique tiles are needed, but memory {label} has room for {len(usable)}; wire more map "
                    "lines to it, use fewer or simpler pictures, or set merge = true to use similar tiles"
                )
            unique = _thinned(unique, cells, wiring, board, len(usable), label)
        numbers = stable_numbers(unique.hashes, unique.uses, usable)
        pools.append(Pool(pool=int(number), unique=unique, numbers=numbers, found=found))
        cell_words[members] = wiring.map_words(numbers[unique.index] ^ offsets[members], unique.turn)
    return Tiling(wiring=wiring, cells=cells, pools=tuple(pools), map_words=cell_words[cell], most=len(usable))


def _thinned(unique: UniqueTiles, cells: Cells, wiring: TileWiring, board: Board, most: int, label: str) -> UniqueTiles:
    """Keep the most needed tiles, and replace the others by the most similar of these."""
    if not cells.one_pixel:
        raise ArrangementError(
            f"{unique.count} unique tiles are needed, but memory {label} has room for {most}, and they cannot "
            "be merged, since each position covers several pixels; use fewer or simpler pictures"
        )
    codes = cells.codes_of(unique.tiles)
    at = np.arange(wiring.positions)
    thinned = thin(
        lambda turn: tile_points(codes[:, at ^ wiring.turns[turn]], board.palette, wiring.shape),
        len(wiring.turns),
        unique.uses,
        most,
        coarse=lambda turn: coarse_points(codes[:, at ^ wiring.turns[turn]], board.palette, wiring.shape),
        channels=3,
    )
    # A tile shows at position p what its stand-in has at p ^ turn; the turns of cell and stand-in add up.
    read = np.zeros((len(thinned.kept), wiring.positions), dtype=bool)
    for tile in range(unique.count):
        read[thinned.stand_in[tile]] |= unique.read[tile, at ^ wiring.turns[thinned.turn[tile]]]
    kept = thinned.kept
    return UniqueTiles(
        cells=unique.tiles,
        first=kept,
        step=np.zeros_like(kept),
        read=read,
        hashes=unique.hashes[kept],
        index=thinned.stand_in[unique.index],
        turn=unique.turn ^ thinned.turn[unique.index],
    )
