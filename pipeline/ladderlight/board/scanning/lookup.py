"""Colour look-up: memories that turn the outputs of picture memories into codes.

A board has it when every memory that drives ladder lines is addressed by the data of directly addressed memories, and
by banks and constants, but by no counter. The data pins that address look-up memories form the index of a pixel.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Signal
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.levels import Levels, Pin
from ladderlight.board.scanning.scan import is_direct
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags, Ints

Contents = Mapping[str, tuple[NDArray[np.uint32], NDArray[np.uint32]]]
"""Words and written bits by memory."""


class LookupFull(Exception):  # noqa: N818 - an event that callers put into words, not an error of the program
    """Pictures need more colours than the look-up memories hold in one bank."""


class Lookup(Frozen):
    """The look-up of a board. ``pins`` carry the index, bit 0 first; ``tables`` are the look-up memories."""

    sources: tuple[Memory, ...]
    tables: tuple[Memory, ...]
    pins: tuple[Pin, ...]

    @property
    def size(self) -> int:
        """The number of indices."""
        return 1 << len(self.pins)

    def levels(self, index: int) -> dict[Pin, int]:
        """Return the level of each index pin for an index."""
        return {pin: index >> bit & 1 for bit, pin in enumerate(self.pins)}


def lookup_of(board: Board) -> Lookup | None:
    """Return a board's colour look-up, None when the board has none."""
    tables = board.driving_memories
    if not all(_is_table(board, memory) for memory in tables):
        return None
    lines = [line for memory in tables for line in board.address_lines(memory) if line.signal is Signal.OUTPUT]
    wired = {(line.memory, line.index) for line in lines}
    sources = tuple(memory for memory in board.memories if memory.name in {name for name, _ in wired})
    if not all(is_direct(board, memory) for memory in sources):
        return None
    pins = [(memory.name, pin) for memory in sources for pin in range(memory.pixel_width)]
    return Lookup(sources=sources, tables=tables, pins=tuple(pin for pin in pins if pin in wired))


def _is_table(board: Board, memory: Memory) -> bool:
    signals = {line.signal for line in board.address_lines(memory)}
    return Signal.OUTPUT in signals and not signals & {Signal.X, Signal.Y} and memory.packing.pixels == 1


def table_addresses(board: Board, lookup: Lookup, table: Memory, bank: int) -> Ints:
    """Return the address that each index has in a look-up memory: int64, shape (lookup.size,)."""
    numbers = np.arange(lookup.size, dtype=np.int64)
    levels = Levels(board, 0, 0, np.full(lookup.size, bank))
    for bit, (name, pin) in enumerate(lookup.pins):
        levels.outputs[name] = levels.outputs.get(name, 0) | (numbers >> bit & 1) << pin
    return levels.address(table)


def _index_codes(board: Board, lookup: Lookup, contents: Contents, bank: int) -> tuple[Ints, Flags]:
    """Return the code of each index, and whether its words are written: int64 and bool, shape (lookup.size,)."""
    codes = np.zeros(lookup.size, dtype=np.int64)
    taken = np.zeros(lookup.size, dtype=bool)
    for table in lookup.tables:
        words, written = contents[table.name]
        at = table_addresses(board, lookup, table, bank)
        for bit, pin in _code_pins(board, table):
            codes |= (words[at].astype(np.int64) >> pin & 1) << bit
            taken |= (written[at] >> np.uint32(pin) & 1) != 0
    return codes, taken


def assign(board: Board, lookup: Lookup, contents: Contents, bank: int, codes: NDArray[np.integer]) -> dict[int, int]:
    """Return an index for each of some distinct codes, after writing missing ones into the look-up memories, in place.

    Missing ones take the free indices from the lowest up, in the order given. Raises LookupFull when there are not
    enough free indices. Nothing is written then.
    """
    present, taken = _index_codes(board, lookup, contents, bank)
    index_of = {int(present[index]): int(index) for index in np.flatnonzero(taken)[::-1]}
    missing = [int(code) for code in codes if int(code) not in index_of]
    free = _free(board, lookup, bank, taken)
    if len(missing) > len(free):
        needed = len(missing) + int(taken.sum())
        raise LookupFull(f"{needed} colours are needed, and the look-up memory holds {lookup.size}")
    taking, new = free[: len(missing)], np.array(missing, dtype=np.uint32)
    for table in lookup.tables:
        words, written = contents[table.name]
        at = table_addresses(board, lookup, table, bank)[taking]
        for bit, pin in _code_pins(board, table):
            mask = np.uint32(1 << pin)
            words[at] = np.where(new >> np.uint32(bit) & np.uint32(1), words[at] | mask, words[at] & ~mask)
            written[at] |= mask
    index_of |= zip(missing, taking, strict=True)
    return {int(code): index_of[int(code)] for code in codes}


def _free(board: Board, lookup: Lookup, bank: int, taken: Flags) -> list[int]:
    """Return the indices that can be written without disturbing each other or those that are taken."""
    at = [table_addresses(board, lookup, table, bank) for table in lookup.tables]
    used = [set(addresses[taken].tolist()) for addresses in at]
    free = []
    for index in np.flatnonzero(~taken).tolist():
        places = [int(addresses[index]) for addresses in at]
        if not any(place in seen for place, seen in zip(places, used, strict=True)):
            free.append(index)
            for place, seen in zip(places, used, strict=True):
                seen.add(place)
    return free


def black_index(board: Board, lookup: Lookup, contents: Contents, bank: int) -> int | None:
    """Return an index that shows black, writing one into the look-up memories where none does and one is free.

    ``contents`` are changed in place. None when every index shows another colour.
    """
    black = board.palette.black_code
    try:
        return assign(board, lookup, contents, bank, np.array([black]))[black]
    except LookupFull:
        return None


def _code_pins(board: Board, table: Memory) -> list[tuple[int, int]]:
    """Return each bit of the code that a memory carries, with its data pin."""
    pins = enumerate(board.outputs[line] for line in board.code_lines)
    return [(bit, pin.index) for bit, pin in pins if pin.memory == table.name]
