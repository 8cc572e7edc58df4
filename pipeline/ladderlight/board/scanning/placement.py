"""Placement, the inverse of the scan: the words at each address that make the screen show a picture."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.board import Board
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.lookup import assign, lookup_of
from ladderlight.board.scanning.scan import addresses_by_bank, is_direct
from ladderlight.board.scanning.sheets import Sheet, blank_sheet
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints, Words, dtype_of


class Place(Frozen):
    """A place on the screen: a picture's name, the bank, and the picture pixel."""

    picture: str
    bank: int
    x: int
    y: int

    def __str__(self) -> str:
        return f"{self.picture!r} at pixel ({self.x}, {self.y}) of bank {self.bank}"


class Conflict(Exception):  # noqa: N818 - an event that callers put into words, not an error of the program
    """Two places need different words at one address."""

    def __init__(self, memory: str, address: int, first: Place, second: Place) -> None:
        self.memory, self.address, self.first, self.second = memory, address, first, second
        super().__init__(f"memory {memory!r}, address {address:04X}h: {first} and {second} need different words there")


class _Run(Frozen):
    """One picture placed in one memory, in some bits of each pixel."""

    picture: str
    bank: int
    mask: int


class _Reads(Frozen, eq=False):
    """How the pixels of a bank read a memory; all but ``address`` is the same in each bank."""

    address: Callable[[int], Ints]
    slot: Ints
    last: Ints | None
    """Of each pixel the last one that reads the same place; flat, as what follows. None where no two read the same."""
    once: slice | Ints
    """The last pixel of each place; a slice where that is every pixel."""
    shift: Words
    """How far up the word each of these pixels is."""
    slots: Sequence[slice | Ints]
    """These pixels by slot."""

    @classmethod
    def of(cls, board: Board, memory: Memory) -> Self:
        of = addresses_by_bank(board, memory, board.x_grid.samples[None, :], board.y_grid.samples[:, None])
        address, slot = of(0)
        places, keys = np.unique((address * memory.packing.pixels + slot).ravel(), return_inverse=True)
        order = np.arange(keys.size)
        table = np.empty_like(places)
        table[keys] = order
        last = None if len(places) == len(order) else table[keys]
        once = slice(None) if last is None else np.flatnonzero(last == order)
        of_slot, pixels = slot.ravel()[once], range(memory.packing.pixels)
        shifts = np.array([memory.shift_of(number) for number in pixels], dtype=dtype_of(memory.part.width))
        slots = [slice(None)] if len(pixels) == 1 else [np.flatnonzero(of_slot == number) for number in pixels]
        return cls(
            address=lambda bank: of(bank)[0], slot=slot, last=last, once=once, shift=shifts[of_slot], slots=slots
        )


@dataclass(kw_only=True)
class Placement:
    """Collects pictures, then gives the words of all memories."""

    board: Board
    _sheets: dict[str, Sheet] = field(default_factory=dict)
    _runs: dict[str, list[_Run]] = field(default_factory=dict)
    _reads: dict[str, _Reads] = field(default_factory=dict)

    def put_codes(self, codes: NDArray[np.unsignedinteger], *, bank: int, picture: str) -> None:
        """Place a picture of codes, shape (height, width) of the board's picture, in every memory that drives ladders.

        With colour look-up, the picture's colours are written into the look-up memories unless already there, and the
        picture memories get their numbers. Raises Conflict when an address in use needs another word, LookupFull when
        the look-up memories do not hold all colours, and NotImplementedError when a memory that drives ladders is
        addressed by another memory otherwise, as in tile hardware: its contents are not a picture.
        """
        driving = self.board.driving_memories
        indirect = [memory.name for memory in driving if not is_direct(self.board, memory)]
        if not indirect:
            bits = {line: bit for bit, line in enumerate(self.board.code_lines)}
            for memory in driving:
                pins = {pin: bits[name] for pin, name in enumerate(memory.data) if name in bits}
                self._put_pins(memory, codes, pins, bank=bank, picture=picture)
            return
        lookup = lookup_of(self.board)
        if lookup is None:
            raise NotImplementedError(", ".join(indirect))
        tables = {table.name: (self._sheet(table).words, self._sheet(table).written) for table in lookup.tables}
        index_of = assign(self.board, lookup, tables, bank, np.unique(codes))
        numbers = np.zeros(len(self.board.palette), dtype=np.int64)
        numbers[list(index_of)] = list(index_of.values())
        for source in lookup.sources:
            pins = {pin: bit for bit, (name, pin) in enumerate(lookup.pins) if name == source.name}
            self._put_pins(source, numbers[codes], pins, bank=bank, picture=picture)

    def _put_pins(
        self, memory: Memory, numbers: NDArray[np.integer], pins: Mapping[int, int], *, bank: int, picture: str
    ) -> None:
        """Place the bits of a number per pixel on data pins: ``pins`` gives the bit for each pin."""
        values = np.zeros(numbers.shape, dtype=np.uint32)
        for up in {pin - bit for pin, bit in pins.items()}:  # all bits that move equally far at once
            part = numbers.astype(np.uint32) & np.uint32(sum(1 << bit for pin, bit in pins.items() if pin - bit == up))
            values |= part << up if up >= 0 else part >> -up
        self.put_values(memory, values, sum(1 << pin for pin in pins), bank=bank, picture=picture)

    def put_values(self, memory: Memory, values: NDArray[np.uint32], mask: int, *, bank: int, picture: str) -> None:
        """Place a directly addressed memory's output at each picture pixel, uint32, in the pins of ``mask``."""
        sheet, runs = self._sheet(memory), self._runs.setdefault(memory.name, [])
        run = _Run(picture=picture, bank=bank, mask=mask)
        reads = self._reads_of(memory)
        flat = (values & np.uint32(mask)).astype(sheet.words.dtype).ravel()
        if reads.last is not None and (wrong := np.flatnonzero(flat[reads.last] != flat)).size:
            at, pixel = int(self._keys(memory, bank)[wrong[0]]), int(wrong[0])
            raise self._conflict(memory, at, (run, pixel), (run, int(reads.last[pixel])))
        address, bits = reads.address(bank).ravel()[reads.once], flat.dtype.type(mask) << reads.shift
        new = flat[reads.once] << reads.shift
        clash = np.zeros_like(new)
        for of in reads.slots:  # one at a time, so that no address is written twice at once
            clash[of] = sheet.write(address[of], new[of], bits[of])
        if clash.any():
            first = int(np.flatnonzero(clash)[0])
            at, clashing = int(self._keys(memory, bank)[reads.once][first]), int(clash[first] >> reads.shift[first])
            owner = next(run for run in reversed(runs) if run.mask & clashing and at in self._keys(memory, run.bank))
            raise self._conflict(
                memory, at, (owner, self._pixel(memory, at, owner)), (run, self._pixel(memory, at, run))
            )
        runs.append(run)

    def words(self) -> Mapping[str, tuple[NDArray[np.uint32], NDArray[np.uint32]]]:
        """Return words and written bits of every memory, those with nothing placed included."""
        sheets = {memory.name: self._sheet(memory) for memory in self.board.memories}
        return {name: (sheet.words, sheet.written) for name, sheet in sheets.items()}

    def _sheet(self, memory: Memory) -> Sheet:
        if memory.name not in self._sheets:
            self._sheets[memory.name] = blank_sheet(memory)
        return self._sheets[memory.name]

    def _reads_of(self, memory: Memory) -> _Reads:
        if memory.name not in self._reads:
            self._reads[memory.name] = _Reads.of(self.board, memory)
        return self._reads[memory.name]

    def _keys(self, memory: Memory, bank: int) -> Ints:
        """Return the place of each picture pixel: address times pixels in a word, plus slot; int64, flat."""
        reads = self._reads_of(memory)
        return (reads.address(bank) * memory.packing.pixels + reads.slot).ravel()

    def _pixel(self, memory: Memory, key: int, run: _Run) -> int:
        return int(np.argmax(self._keys(memory, run.bank) == key))

    def _conflict(self, memory: Memory, key: int, *ends: tuple[_Run, int]) -> Conflict:
        width = self.board.geometry.width
        places = [Place(picture=run.picture, bank=run.bank, x=pixel % width, y=pixel // width) for run, pixel in ends]
        return Conflict(memory.name, key // memory.packing.pixels, places[0], places[1])
