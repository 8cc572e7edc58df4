"""Equal tiles found in one pass, in every orientation that the wiring has, and numbers for them.

Each tile is hashed once for each orientation; the least hash is the same for all orientations of a tile, and
its orientation turns the tile into the form that is kept. Equal hashes are never trusted: the tiles are compared.
"""

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen
from ladderlight.units.arrays import Flags, Ints
from ladderlight_stages.compiled import compiled

Values = NDArray[np.unsignedinteger]
_HEAP = 4096  # cells that share a table, about


class UniqueTiles(Frozen, eq=False):
    """The unique tiles of many cells.

    ``tiles`` (tiles, positions), in the orientation that is kept, and ``read`` bool of that shape: the positions that
    some cell shows. ``hashes`` uint64 (tiles,) depend on a tile's values only. Cell ``i`` shows at position ``p`` what
    ``tiles[index[i]]`` has at position ``p ^ turns[turn[i]]``.
    """

    tiles: Values
    read: Flags
    hashes: NDArray[np.uint64]
    index: NDArray[np.integer]
    turn: NDArray[np.integer]

    @property
    def count(self) -> int:
        """How many tiles there are."""
        return len(self.tiles)

    @property
    def uses(self) -> Ints:
        """How many cells show each tile."""
        return np.bincount(self.index, minlength=self.count)


def unique_tiles(cells: Values, turns: Ints, *, shown: Flags | None = None) -> UniqueTiles:
    """Find the unique tiles among cells.

    ``cells`` are unsigned values, (cells, positions), positions a power of two. ``turns`` are the orientations, which
    form a group: positions are exclusive-ored with each; the first is 0. ``shown``, of the cells' shape, is which
    positions are on the screen; all when not given. What is not shown may be anything: a cell that shows only a part is
    matched with any tile that agrees in that part.
    """
    if shown is None or shown.all():
        return _whole(cells, turns, np.ones(cells.shape[1], dtype=bool))
    return _in_parts(cells, turns, shown)


def _whole(cells: Values, turns: Ints, shown: Flags) -> UniqueTiles:
    """Find the unique tiles among cells that all show the same positions."""
    allowed = np.array(
        [number for number, turn in enumerate(turns) if np.array_equal(shown[_turned(turn, shown)], shown)],
        dtype=np.int8,
    )
    cells = np.ascontiguousarray(cells)
    first, hashes, index, turn = _group(cells, _weights(cells.shape[1]), turns[allowed])
    return UniqueTiles(
        tiles=_turn_tiles(cells, first, turns[allowed][turn[first]]),
        read=np.broadcast_to(shown, (len(first), cells.shape[1])),
        hashes=hashes,
        index=index,
        turn=allowed[turn],
    )


def _in_parts(cells: Values, turns: Ints, shown: Flags) -> UniqueTiles:
    """Take the cells that show most first, and match those that show less with the tiles found before."""
    packed = np.packbits(shown, axis=1)
    patterns, pattern_of = np.unique(packed, axis=0, return_inverse=True)
    masks = np.unpackbits(patterns, axis=1, count=cells.shape[1]).astype(bool)
    index = np.zeros(len(cells), dtype=np.int32)
    turn = np.zeros(len(cells), dtype=np.int8)
    tiles, read = np.empty((0, cells.shape[1]), dtype=cells.dtype), np.empty((0, cells.shape[1]), dtype=bool)
    hashes = np.empty(0, dtype=np.uint64)
    for number in sorted(range(len(masks)), key=lambda number: (-int(masks[number].sum()), number)):
        mask = masks[number]
        members = np.flatnonzero(pattern_of.ravel() == number)
        part = _whole(np.where(mask, cells[members], cells.dtype.type(0)), turns, mask)
        known = _by_part(tiles, read, turns, mask)
        new_index = np.empty(len(part.tiles), dtype=np.int32)
        extra_turn = np.zeros(len(part.tiles), dtype=np.int8)
        fresh: list[int] = []
        for tile, values in enumerate(part.tiles):
            match = known.get(values[mask].tobytes())
            if match is None:
                new_index[tile] = len(tiles) + len(fresh)
                fresh.append(tile)
            else:
                new_index[tile], extra_turn[tile] = match
                at = np.arange(cells.shape[1]) ^ turns[extra_turn[tile]]
                read[new_index[tile]] |= mask[at]
        tiles = np.concatenate([tiles, part.tiles[fresh]])
        read = np.concatenate([read, part.read[fresh]])
        hashes = np.concatenate([hashes, part.hashes[fresh]])
        index[members] = new_index[part.index]
        turn[members] = part.turn ^ extra_turn[part.index]
    return UniqueTiles(tiles=tiles, read=read, hashes=hashes, index=index, turn=turn)


def _by_part(tiles: Values, read: Flags, turns: Ints, mask: Flags) -> dict[bytes, tuple[int, int]]:
    """Return tile and turn by the values seen through a mask, of tiles that are known there."""
    known: dict[bytes, tuple[int, int]] = {}
    for number, turn in enumerate(turns):
        at = _turned(turn, mask)[mask]
        whole = read[:, at].all(axis=1)
        for tile in np.flatnonzero(whole):
            known.setdefault(tiles[tile, at].tobytes(), (int(tile), number))
    return known


def _turned(turn: int, like: Flags) -> Ints:
    return np.arange(like.size, dtype=np.int64) ^ turn


def _weights(count: int) -> NDArray[np.uint64]:
    """Odd 64-bit weights, the same in every build."""
    return splitmix(np.arange(count)) | np.uint64(1)


def splitmix(numbers: Ints) -> NDArray[np.uint64]:
    """Return 64 bits for each number, as if at random: SplitMix64 (G. Steele et al., OOPSLA 2014)."""
    mixed = (numbers.astype(np.uint64) + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ mixed >> np.uint64(30)) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ mixed >> np.uint64(27)) * np.uint64(0x94D049BB133111EB)
    return mixed ^ mixed >> np.uint64(31)


def _group(
    cells: Values, weights: NDArray[np.uint64], turns: Ints
) -> tuple[NDArray[np.int32], NDArray[np.uint64], NDArray[np.int32], NDArray[np.int8]]:
    """Number the cells' tiles by first appearance.

    The cells are dealt into heaps by their hashes, so that a heap's table stays in the processor's cache however many
    cells there are: the time grows with their number. Tiles of equal hash are first taken to be equal, then compared in
    the order in which they lie in memory; should two differ, all is done again with care. Returns the first cell of
    each tile and the tile's hash, then tile and turn of each cell.
    """
    hashes, turn = _hash_cells(cells, weights, turns)
    order, dealt, edges = _deal(hashes, max(0, (len(cells) // _HEAP).bit_length()))
    for careful in (False, True):
        same_as = _match(cells, dealt, turn, turns, order, edges, careful)
        if careful or _are_same(cells, same_as, turn, turns):
            break
    first, index = _count(same_as)
    return first, hashes[first], index, turn


@compiled
def _turn_tiles(cells: Values, chosen: NDArray[np.integer], steps: Ints) -> Values:
    """Return some cells, each with its positions exclusive-ored with a step."""
    size = cells.shape[1]
    tiles = np.empty((len(chosen), size), cells.dtype)
    for tile in range(len(chosen)):
        cell: int = chosen[tile]
        step: int = steps[tile]
        for p in range(size):
            tiles[tile, p] = cells[cell, p ^ step]
    return tiles


@compiled
def _hash_cells(cells: Values, weights: NDArray[np.uint64], turns: Ints) -> tuple[NDArray[np.uint64], NDArray[np.int8]]:
    """Return each cell's least hash over its orientations, a mixed weighted sum (multilinear hashing), and which."""
    number, size = cells.shape
    hashes = np.empty(number, np.uint64)
    turn = np.empty(number, np.int8)
    for cell in range(number):
        least = np.uint64(0)
        least_turn = 0
        for t in range(len(turns)):
            total = np.uint64(0)
            step: int = turns[t]
            for p in range(size):
                total += weights[p ^ step] * (np.uint64(cells[cell, p]) + np.uint64(1))
            total ^= total >> np.uint64(32)
            total *= np.uint64(0xD6E8FEB86659FD93)
            total ^= total >> np.uint64(32)
            if t == 0 or total < least:
                least = total
                least_turn = t
        hashes[cell] = least
        turn[cell] = least_turn
    return hashes, turn


@compiled
def _spread(value: np.uint64) -> np.uint64:
    """Mix a hash again: the least of several is not evenly spread."""
    return value * np.uint64(0x9E3779B97F4A7C15)


@compiled
def _heap_of(value: np.uint64, bits: int) -> np.int64:
    # shifted twice, since a shift by all 64 bits is undefined
    return np.int64(_spread(value) >> np.uint64(1) >> np.uint64(63 - bits))


@compiled
def _deal(hashes: NDArray[np.uint64], bits: int) -> tuple[NDArray[np.int32], NDArray[np.uint64], Ints]:
    """Deal cells into heaps by their mixed hashes, keeping their order; return cells, their hashes and heap edges."""
    edges = np.zeros((1 << bits) + 1, np.int64)
    for cell in range(len(hashes)):
        edges[_heap_of(hashes[cell], bits) + 1] += 1
    for number in range(1 << bits):
        edges[number + 1] += edges[number]
    place = edges[:-1].copy()
    order = np.empty(len(hashes), np.int32)
    dealt = np.empty(len(hashes), np.uint64)
    for cell in range(len(hashes)):
        heap = _heap_of(hashes[cell], bits)
        at: int = place[heap]
        order[at] = cell
        dealt[at] = hashes[cell]
        place[heap] = at + 1
    return order, dealt, edges


@compiled
def _is_same(cells: Values, cell: int, other: int, step: int) -> bool:
    one, two = cells[cell], cells[other]
    differing = 0
    if step == 0:  # without leaving early, so that many positions are compared at a time
        for p in range(len(one)):
            differing |= one[p] ^ two[p]
    else:
        for p in range(len(one)):
            differing |= one[p] ^ two[p ^ step]
    return differing == 0


@compiled
def _are_same(cells: Values, same_as: NDArray[np.int32], turn: NDArray[np.int8], turns: Ints) -> bool:
    """Whether every cell shows the same tile as the cell it was matched with."""
    for cell in range(len(same_as)):
        other: int = same_as[cell]
        if other != cell and not _is_same(cells, cell, other, turns[turn[cell]] ^ turns[turn[other]]):
            return False
    return True


@compiled
def _match(
    cells: Values,
    dealt: NDArray[np.uint64],
    turn: NDArray[np.int8],
    turns: Ints,
    order: NDArray[np.int32],
    edges: Ints,
    careful: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
) -> NDArray[np.int32]:
    """Return for each cell the first cell that shows the same tile, in whatever orientation."""
    most = 0
    for heap in range(len(edges) - 1):
        most = max(most, edges[heap + 1] - edges[heap])
    bits = 4
    while 1 << bits < 2 * most:
        bits += 1
    last = (1 << bits) - 1
    slots = np.empty(1 << bits, np.int32)
    known = np.empty(1 << bits, np.uint64)
    same_as = np.empty(len(order), np.int32)
    for heap in range(len(edges) - 1):
        slots[:] = -1
        for at in range(edges[heap], edges[heap + 1]):
            cell: int = order[at]
            value: np.uint64 = dealt[at]
            slot = np.int64(_spread(value) >> np.uint64(16)) & last
            while True:
                other: int = slots[slot]
                if other < 0:
                    slots[slot] = cell
                    known[slot] = value
                    same_as[cell] = cell
                    break
                if known[slot] == value and (
                    not careful or _is_same(cells, cell, other, turns[turn[cell]] ^ turns[turn[other]])
                ):
                    same_as[cell] = other
                    break
                slot = (slot + 1) & last
    return same_as


@compiled
def _count(same_as: NDArray[np.int32]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Number those cells that are the first of their kind. The numbers take the place of what is given."""
    index = same_as
    count = 0
    for cell in range(len(same_as)):
        count += same_as[cell] == cell
    first = np.empty(count, np.int32)
    count = 0
    for cell in range(len(same_as)):
        # what a cell is the same as comes before it, and has its number already
        if same_as[cell] == cell:
            first[count] = cell
            index[cell] = count
            count += 1
        else:
            index[cell] = index[same_as[cell]]
    return first, index


def stable_numbers(hashes: NDArray[np.uint64], uses: Ints, numbers: Ints) -> Ints:
    """Return one of ``numbers`` for each tile, each at most once, the same from build to build.

    Every tile has its own order of preference among the numbers, made from its content alone, of which ``hashes`` are.
    The tiles choose one after another: those used most first, then by content. A tile that comes, goes or changes makes
    others move only where it takes or frees a number that they prefer; with a full memory of n numbers that is about
    the logarithm of n tiles, and mostly tiles that are hardly used. Of ``uses``, how often each is used, only the
    magnitude in powers of two counts, so that a few more uses change nothing.
    """
    magnitude = np.frexp(np.maximum(uses, 0).astype(np.float64))[1]
    order = np.argsort(hashes)
    order = order[np.argsort(-magnitude[order].astype(np.int8), kind="stable")]  # by radix: one byte
    chosen = np.empty(len(order), dtype=np.int64)
    chosen[order] = numbers[_choose(hashes[order], len(numbers), _prime_from(len(numbers)))]
    return chosen


def _prime_from(number: int) -> int:
    candidate = max(2, number)
    while any(candidate % divisor == 0 for divisor in range(2, int(candidate**0.5) + 1)):
        candidate += 1
    return candidate


@compiled
def _choose(hashes: NDArray[np.uint64], count: int, prime: int) -> Ints:
    """Double hashing: start and stride from the hash; a prime modulus makes every stride visit all numbers."""
    taken = np.zeros(count, np.bool_)
    chosen = np.empty(len(hashes), np.int64)
    for tile in range(len(hashes)):
        value = hashes[tile] * np.uint64(0x9E3779B97F4A7C15)
        value ^= value >> np.uint64(29)
        at = np.int64(value % np.uint64(prime))
        step = np.int64(1)
        if prime > 2:
            step += np.int64((value >> np.uint64(20)) * np.uint64(0xBF58476D1CE4E5B9) % np.uint64(prime - 1))
        while at >= count or taken[at]:
            at = (at + step) % prime
        taken[at] = True
        chosen[tile] = at
    return chosen
