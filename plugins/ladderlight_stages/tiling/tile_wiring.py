"""How memories are addressed by other memories: tiles, their size, their number and their orientations.

Address pins are exclusive-ors of lines, so an address is a linear function of the lines over the field of two elements:
the sum modulo two of what the counters turn and of what the words of the addressing memories (the map) turn. A set of
pins is a number: bit i for pin i. Pixels that share the map's words form a cell. Within a cell the counters move
through the *positions* of a tile. Of the sums that the map can add, those that only move positions are its *turns*
(mirroring), the others choose among *tiles*. Nothing else is assumed of the wiring.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, Frozen
from ladderlight.board import Memory
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.levels import Pin, parity_of
from ladderlight.units.arrays import Ints

_FIRST = {Signal.X: 0, Signal.Y: 20, Signal.BANK: 40}  # first bit of each counter in a counter word


@dataclass(frozen=True)
class PinSpace:
    """All sums modulo two of some sets of pins.

    ``basis`` are the sets that are not a sum of earlier ones, in the order given; ``picked`` their indices among all.
    """

    basis: tuple[int, ...]
    picked: tuple[int, ...]
    _rows: tuple[tuple[int, int, int], ...]
    """Highest pin, pins, and which of the basis they are the sum of; highest pins descending."""

    def __len__(self) -> int:
        return 1 << len(self.basis)

    def __contains__(self, pins: int) -> bool:
        return _reduce(pins, self._rows)[0] == 0

    def coordinates(self, pins: Ints) -> tuple[Ints, Ints]:
        """Return, for sets of pins, the sum of basis sets nearest to each, and the rest; both of the shape of ``pins``.

        Bit i of a coordinate is set where ``basis[i]`` is in the sum. The rest is the same for all sets that differ by
        a sum of the basis.
        """
        left = pins.astype(np.int64, copy=True)
        coordinates = np.zeros_like(left)
        for high, row, combination in self._rows:
            has = left >> high & 1
            left ^= has * row
            coordinates ^= has * combination
        return coordinates, left

    def pins(self, coordinates: Ints) -> Ints:
        """Return the sums of basis sets with some coordinates."""
        return combine(coordinates, self.basis)


def combine(coordinates: NDArray[np.integer], sets: Sequence[int]) -> Ints:
    """Add up modulo two those sets whose bits are set in each coordinate; int64, the shape of ``coordinates``."""
    wide = coordinates.astype(np.int64)
    total = np.zeros_like(wide)
    for index, pins in enumerate(sets):
        if pins:
            total ^= (wide >> index & 1) * pins
    return total


def space_of(sets: Iterable[int]) -> PinSpace:
    """Return the space of all sums of some sets of pins."""
    rows: list[tuple[int, int, int]] = []
    basis: list[int] = []
    picked: list[int] = []
    for index, pins in enumerate(sets):
        left, combination = _reduce(pins, rows)
        if not left:
            continue
        rows.append((left.bit_length() - 1, left, combination | 1 << len(basis)))
        rows.sort(reverse=True)
        basis.append(pins)
        picked.append(index)
    return PinSpace(tuple(basis), tuple(picked), tuple(rows))


def differences(pins: Ints) -> list[int]:
    """Return a basis of the space that the given sets of pins, int64 of any shape, lie in."""
    found: list[int] = []
    left = np.unique(pins)
    while True:
        left = left[left != 0]
        if not left.size:
            return found
        found.append(int(left[0]))
        _, left = space_of(found).coordinates(left)
        left = np.unique(left)


def common(one: PinSpace, other: PinSpace) -> list[int]:
    """Return a basis of the sums that two spaces have in common (Zassenhaus' sum and intersection of spaces)."""
    rows: list[tuple[int, int, int]] = []
    width = max((pins.bit_length() for pins in (*one.basis, *other.basis)), default=0)
    for joined in (*(pins << width | pins for pins in one.basis), *(pins << width for pins in other.basis)):
        left, _ = _reduce(joined, rows)
        if left:
            rows.append((left.bit_length() - 1, left, 0))
            rows.sort(reverse=True)
    return sorted(row for _, row, _ in rows if row >> width == 0)


def _reduce(pins: int, rows: Iterable[tuple[int, int, int]]) -> tuple[int, int]:
    combination = 0
    for high, row, sums in rows:
        if pins >> high & 1:
            pins ^= row
            combination ^= sums
    return pins, combination


def counter_words(x: Ints, y: Ints, bank: Ints) -> Ints:
    """Join counter values into one number each, int64."""
    return x << _FIRST[Signal.X] | y << _FIRST[Signal.Y] | bank << _FIRST[Signal.BANK]


@dataclass(frozen=True)
class Drive:
    """What turns a pin: a set of counter bits, and the data pins of other memories."""

    counters: int
    outputs: frozenset[Pin]


class Pins(Frozen):
    """The pins of one memory: what drives each address pin, the levels they have anyway, and what picks the pixel."""

    address: tuple[Drive, ...]
    constant: int
    select: tuple[Drive, ...]


def pins_of(board: Board, memory: Memory) -> Pins:
    """Read off what drives a memory's pins."""
    parities = [parity_of(board, expression) for expression in memory.address]
    first = board.first_select_bit(memory)
    return Pins(
        address=tuple(Drive(sum(1 << _FIRST[signal] + bit for signal, bit in p.counters), p.outputs) for p in parities),
        constant=sum(parity.level << pin for pin, parity in enumerate(parities)),
        select=tuple(
            Drive(1 << _FIRST[Signal.X] + first + bit, frozenset()) for bit in range(memory.packing.select_bits)
        ),
    )


def turned_by_counters(board: Board, memory: Memory) -> list[int]:
    """Return sets of counter bits whose parities distinguish all the words that a memory can show.

    These are what the counters turn of its own address, and of the address of every memory that it depends on.
    """
    seen: dict[str, Memory] = {}
    left = [memory]
    while left:
        here = left.pop()
        if here.name not in seen:
            seen[here.name] = here
            left += [board.memory(name) for name in board.sources[here.name]]
    drives = joint_drives(board, tuple(seen.values()))
    return list(space_of(drive.counters for drive in drives).basis)


def parities(words: Ints, sets: Sequence[int]) -> Ints:
    """Return one number for each counter word: bit i is the parity of the word's bits in ``sets[i]``."""
    return combine(words, _columns(sets))


def _columns(rows: Sequence[int]) -> list[int]:
    """Transpose a matrix of bits."""
    width = max((row.bit_length() for row in rows), default=0)
    return [sum((row >> column & 1) << index for index, row in enumerate(rows)) for column in range(width)]


class TileWiring(Frozen, eq=False):
    """The tiles of one or more memories that the same map addresses.

    A joint address has one bit for each differently driven pin. It is the sum of three parts: the pool that the
    counters choose (usually there is one), a tile's number and a position in the tile.
    """

    memories: tuple[Memory, ...]
    drives: tuple[Drive, ...]
    """What drives each bit of the joint address."""
    free: tuple[Pin, ...]
    """The map's data pins that choose tiles and turns."""
    space: PinSpace
    """Positions first, then tile numbers."""
    position_bits: int
    shape: tuple[int, int, int]
    """Frames, lines and pixels of a tile; ``(1, 1, positions)`` when it is not rectangular."""
    rectangular: bool
    counters: tuple[int, ...]
    """When rectangular: the bit of a counter word that moves each bit of a position."""
    turns: Ints
    """Positions are exclusive-ored with this, by number of the turn; the first is 0."""
    tile_words: tuple[int, ...]
    """What each bit of a tile's number turns in the map's free pins."""
    turn_words: tuple[int, ...]
    """The same for the bits of a turn's number."""

    @property
    def positions(self) -> int:
        """How many positions a tile has."""
        return 1 << self.position_bits

    @property
    def capacity(self) -> int:
        """How many tiles a pool holds."""
        return len(self.space) >> self.position_bits

    def locate(self, base: Ints) -> tuple[Ints, Ints, Ints]:
        """Split joint addresses into position, tile number and pool."""
        coordinates, pool = self.space.coordinates(base)
        return coordinates & (self.positions - 1), coordinates >> self.position_bits, pool

    def joint(self, tiles: Ints, pool: int) -> Ints:
        """Return the joint addresses of all positions of tiles by number, (tiles, positions)."""
        positions = np.arange(self.positions, dtype=np.int64)[None, :]
        return self.space.pins(positions | tiles[:, None] << self.position_bits) ^ pool

    def map_words(self, tile: Ints, turn: NDArray[np.integer]) -> Ints:
        """Return the levels of the free pins that add a tile's number and a turn; bit i for ``free[i]``."""
        return combine(tile, self.tile_words) ^ combine(turn, self.turn_words)

    def address(self, board: Board, memory: Memory, joint: Ints) -> tuple[Ints, Ints]:
        """Return the address in one of the memories, and the slot in the word, of joint addresses."""
        pins = pins_of(board, memory)

        def collect(driven: Sequence[Drive]) -> Ints:
            turned = [sum(1 << pin for pin, each in enumerate(driven) if each == drive) for drive in self.drives]
            return combine(joint, turned)

        return collect(pins.address) ^ pins.constant, collect(pins.select)


def tile_wiring_of(
    memories: Sequence[Memory], drives: tuple[Drive, ...], free: Sequence[Pin], base: Ints, words: Ints, first: Ints
) -> TileWiring:
    """Work out the tiles of memories that share outputs of others in their addresses.

    ``free`` are the data pins of the map whose level may be chosen for each cell. ``base``, ``words`` and ``first``, of
    one shape, are joint address and counter word of each pixel, and the index of the first pixel of its cell.
    """
    moving = int(np.bitwise_or.reduce((words ^ words.ravel()[first]).ravel()))
    positions, counters = _positions(drives, base ^ base.ravel()[first], moving)
    bits = len(positions.basis)
    choices = [turned_by(drives, output) for output in free]
    space, reach = space_of([*positions.basis, *choices]), space_of(choices)
    turning = np.array(common(positions, reach), dtype=np.int64)  # what the map can add without leaving the tile
    return TileWiring(
        memories=tuple(memories),
        drives=drives,
        free=tuple(free),
        space=space,
        position_bits=bits,
        shape=(1, 1, 1 << bits) if counters is None else _shape(counters),
        rectangular=counters is not None,
        counters=counters or (),
        turns=combine(np.arange(1 << len(turning)), positions.coordinates(turning)[0].tolist()),
        tile_words=tuple(1 << index - bits for index in space.picked[bits:]),
        turn_words=tuple(combine(reach.coordinates(turning)[0], [1 << index for index in reach.picked]).tolist()),
    )


def _positions(drives: Sequence[Drive], within: Ints, moving: int) -> tuple[PinSpace, tuple[int, ...] | None]:
    """Return the positions of a tile, and the bit of a counter word that moves each of their bits.

    The lowest counter bits come first, so that neighbouring positions are neighbouring pixels. None where the counters
    move through the positions in another order, as through gates.
    """
    found = space_of(differences(within))
    columns = enumerate(_columns([drive.counters for drive in drives]))
    counted = [(bit, pins) for bit, pins in columns if moving >> bit & 1 and pins and pins in found]
    positions = space_of([*(pins for _, pins in counted), *found.basis])
    if any(index >= len(counted) for index in positions.picked):
        return positions, None
    return positions, tuple(counted[index][0] for index in positions.picked)


def joint_drives(board: Board, memories: Sequence[Memory]) -> tuple[Drive, ...]:
    """Return what drives the pins of memories, each once, without pins that never change."""
    found: dict[Drive, None] = {}
    for memory in memories:
        pins = pins_of(board, memory)
        for drive in pins.select + pins.address:
            if drive.counters or drive.outputs:
                found.setdefault(drive)
    return tuple(found)


def turned_by(drives: Sequence[Drive], output: Pin) -> int:
    """Return the bits of the joint address that a data pin of another memory turns."""
    return sum(1 << bit for bit, drive in enumerate(drives) if output in drive.outputs)


def _shape(bits: Sequence[int]) -> tuple[int, int, int]:
    across = sum(bit < _FIRST[Signal.Y] for bit in bits)
    frames = sum(bit >= _FIRST[Signal.BANK] for bit in bits)
    return 1 << frames, 1 << len(bits) - across - frames, 1 << across
