"""The tiles of memories that others address: cut out, thinned when there are too many, numbered and written."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ladderlight import ArrangementError, Board, Frozen, TileSet
from ladderlight.board import Memory
from ladderlight.board.scanning.levels import Pin
from ladderlight.board.scanning.separation import separating_bits
from ladderlight.units.arrays import Codes, Flags, Ints
from ladderlight.units.words import joined
from ladderlight_stages.tiling.thinning import FINE, coarse_points, thin, tile_points
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

_MOST_BITS = 20
_MOST_PLACES = 1 << 28
_MOST_DRIVES = 62


@dataclass(kw_only=True)
class Needed:
    """The output needed of a memory at each pixel, (pictures, height, width): ``values`` in the pins of ``mask``."""

    values: NDArray[np.uint32]
    mask: int = 0


class Cells(Frozen, eq=False):
    """The outputs that cells need.

    ``values`` unsigned (cells, positions): the outputs of all the memories together, numbered. ``shown`` bool of
    that shape: which positions are on the screen.
    """

    values: NDArray[np.unsignedinteger]
    shown: Flags
    meanings: Mapping[str, NDArray[np.uint32]]
    """By memory: the word that each number means."""
    masks: Mapping[str, int]
    """By memory: its pins that matter."""
    code_of: Codes
    """The code that is seen where a number is put out."""
    one_pixel: bool
    """Whether each position of a cell is one pixel of one colour."""


def cut(
    board: Board,
    memories: Sequence[Memory],
    *,
    needed: Mapping[str, Needed],
    codes: Codes,
    cell: Ints,
    position: Ints,
    wiring: TileWiring,
    names: Sequence[tuple[str, int]],
) -> Cells:
    """Cut pictures into cells.

    ``needed`` is by memory; ``codes``, ``cell`` and ``position`` are of the shape of its values; ``names`` are name and
    bank of each picture. Raises ArrangementError when two pixels of a cell have one position but need different words.
    """
    numbers, meanings, code_of = _numbered(memories, needed, codes)
    count = int(cell.max()) + 1
    if count * wiring.positions > _MOST_PLACES:
        raise ArrangementError(
            "the address lines of memory " + joined([repr(memory.name) for memory in memories]) + f" make {count} "
            f"tiles of {wiring.positions} pixels each, most of them off the screen; wire only the lowest x and y lines "
            "to it, and the others to the map"
        )
    out = np.zeros((count, wiring.positions), dtype=numbers.dtype)
    shown = np.zeros(out.shape, dtype=bool)
    flat = (cell * wiring.positions + position).ravel()
    out.ravel()[flat] = numbers.ravel()
    shown.ravel()[flat] = True
    wrong = np.flatnonzero(out.ravel()[flat] != numbers.ravel())
    if wrong.size:
        here = int(wrong[0])
        there = int(np.flatnonzero((flat == flat[here]) & (numbers.ravel() == out.ravel()[flat[here]]))[0])
        raise ArrangementError(_collision(board, memories, here, there, codes.shape, names))
    seen = np.zeros(out.shape, dtype=np.uint16)
    seen.ravel()[flat] = codes.ravel()
    one_pixel = bool(np.array_equal(seen.ravel()[flat], codes.ravel()))
    masks = {memory.name: needed[memory.name].mask for memory in memories}
    return Cells(values=out, shown=shown, meanings=meanings, masks=masks, code_of=code_of, one_pixel=one_pixel)


def _numbered(
    memories: Sequence[Memory], needed: Mapping[str, Needed], codes: Codes
) -> tuple[NDArray[np.unsignedinteger], dict[str, NDArray[np.uint32]], Codes]:
    """Return a number for the outputs of all memories at a pixel, the words that each number means, and its code.

    A number depends on these outputs alone, so that tiles keep their content, and with it their place, from build
    to build.
    """
    pins = [(memory.name, pin) for memory in memories for pin in range(32) if needed[memory.name].mask >> pin & 1]
    if len(pins) > _MOST_BITS:
        raise ArrangementError(
            "memories " + joined([repr(memory.name) for memory in memories]) + f" that one map addresses use "
            f"{len(pins)} data pins together; {_MOST_BITS} is the most"
        )
    numbers = np.zeros(codes.shape, dtype=np.uint32)
    every = np.arange(1 << len(pins), dtype=np.uint32)
    meanings = {memory.name: np.zeros(every.shape, dtype=np.uint32) for memory in memories}
    for bit, (name, pin) in enumerate(pins):
        numbers |= (needed[name].values >> np.uint32(pin) & np.uint32(1)) << np.uint32(bit)
        meanings[name] |= (every >> np.uint32(bit) & np.uint32(1)) << np.uint32(pin)
    code_of = np.zeros(every.shape, dtype=np.uint16)
    code_of[numbers.ravel()] = codes.ravel()
    smallest = np.min_scalar_type((1 << len(pins)) - 1)
    return numbers.astype(smallest), meanings, code_of


def _collision(
    board: Board,
    memories: Sequence[Memory],
    here: int,
    there: int,
    shape: tuple[int, ...],
    names: Sequence[tuple[str, int]],
) -> str:
    places, counts = [], []
    for at in sorted((here, there)):
        picture, line, pixel = (int(index) for index in np.unravel_index(at, shape))
        name, bank = names[picture]
        places.append(f"{name!r} at pixel ({pixel}, {line}) of bank {bank}")
        counts.append((int(board.x_grid.samples[pixel]), int(board.y_grid.samples[line]), bank))
    label = joined([repr(memory.name) for memory in memories])
    lines = separating_bits(board, counts[0], counts[1])
    return (
        f"memory {label}: {places[0]} and {places[1]} are read from one address with any map, and need different "
        f"words there; add {joined(lines, 'or')} to its address or to that of the map"
    )


class Choice(Frozen):
    """A recipe's choices: the numbers that tiles may have, and whether to turn and to merge them."""

    first: int = 0
    count: int | None = None
    turn: bool = True
    merge: bool = True


class Pool(Frozen, eq=False):
    """The tiles in one part of a memory."""

    pool: int
    unique: UniqueTiles
    numbers: Ints
    found: int
    """Unique tiles before any were merged."""


class Tiling(Frozen, eq=False):
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
        for pool in self.pools:
            joint = self.wiring.joint(pool.numbers, pool.pool)
            read = pool.unique.read
            for memory in self.wiring.memories:
                address, slot = self.wiring.address(board, memory, joint)
                values = self.cells.meanings[memory.name][pool.unique.tiles]
                sheets.put(memory, address[read], slot[read], values[read], self.cells.masks[memory.name])

    def tile_sets(self, board: Board) -> Iterator[TileSet]:
        """Yield the tiles in the memory, by number."""
        frames, lines, pixels = map(int, self.wiring.shape)
        memory = self.wiring.memories[0]
        for pool in self.pools:
            order = np.argsort(pool.numbers)
            codes = self.cells.code_of[pool.unique.tiles[order]]
            numbers = pool.numbers[order]
            joint = self.wiring.joint(numbers, pool.pool)
            yield TileSet(
                memory=memory.name,
                codes=codes.reshape(-1, frames * lines, pixels),
                numbers=numbers,
                addresses=self.wiring.address(board, memory, joint)[0],
            )

    def note(self) -> str:
        """Return in one line how many tiles there are."""
        memories = " and ".join(repr(memory.name) for memory in self.wiring.memories)
        frames, lines, pixels = map(int, self.wiring.shape)
        size = f"{pixels}x{lines} pixels" + f" in {frames} frames" * (frames > 1)
        found, kept = sum(pool.found for pool in self.pools), sum(len(pool.numbers) for pool in self.pools)
        text = (
            f"memory {memories}: {found} unique tiles of {size} in {len(self.cells.values)} places"
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
    size = int(keys[finest].max()) + 1
    joint = {name: keys[name] * size + keys[finest] for name in names if counts[name] == counts[finest]}
    as_fine = {name for name, both in joint.items() if np.unique(both).size == counts[finest]}
    return keys[finest], [output for output in outputs if output[0] in as_fine]


def tile_cells(
    board: Board,
    memories: Sequence[Memory],
    *,
    needed: Mapping[str, Needed],
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
    wiring = tile_wiring_of(memories, drives, free, base, words, first[cell])
    if not choice.turn:
        wiring = replace(wiring, turns=wiring.turns[:1])
    position, offset, pool = wiring.locate(base)
    cells = cut(board, memories, needed=needed, codes=codes, cell=cell, position=position, wiring=wiring, names=names)
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
    codes = cells.code_of[unique.tiles]
    at = np.arange(wiring.positions)
    points_of = tile_points if unique.count <= FINE else coarse_points
    clouds = np.stack([points_of(codes[:, at ^ turn], board.palette, wiring.shape) for turn in wiring.turns])
    thinned = thin(clouds, unique.uses, most, channels=3)
    # A tile shows at position p what its stand-in has at p ^ turn; the turns of cell and stand-in add up.
    read = np.zeros((len(thinned.kept), wiring.positions), dtype=bool)
    for tile in range(unique.count):
        read[thinned.stand_in[tile]] |= unique.read[tile, at ^ wiring.turns[thinned.turn[tile]]]
    kept = thinned.kept
    return UniqueTiles(
        tiles=unique.tiles[kept],
        read=read,
        hashes=unique.hashes[kept],
        index=thinned.stand_in[unique.index],
        turn=unique.turn ^ thinned.turn[unique.index],
    )
