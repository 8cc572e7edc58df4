"""The scan: from counts and bank to the addresses of all memories and the code on the ladders, vectorised."""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import ArrayLike

from ladderlight.board.model.board import Board
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.levels import Levels
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints, MemoryWords


class Scan(Frozen, eq=False):
    """The board at some counts: each memory's ``addresses``, and the ``codes`` on the ladders, all int64.

    ``slots`` is which pixel of a packed word is sent, 0 for the first. All have the broadcast shape of the counts.
    """

    addresses: Mapping[str, Ints]
    slots: Mapping[str, Ints]
    codes: Ints


def is_direct(board: Board, memory: Memory) -> bool:
    """Whether counters, banks and constants alone address a memory."""
    return not board.sources[memory.name]


def addresses(board: Board, memory: Memory, x: ArrayLike, y: ArrayLike, bank: ArrayLike = 0) -> tuple[Ints, Ints]:
    """Return address and slot of a directly addressed memory at counts x, y and bank (integers that broadcast)."""
    levels = Levels(board, x, y, bank)
    return levels.address(memory), levels.slot(memory)


def addresses_by_bank(board: Board, memory: Memory, x: ArrayLike, y: ArrayLike) -> Callable[[int], tuple[Ints, Ints]]:
    """Return the function that gives ``addresses`` of a bank, quickly for many banks.

    Each address line of a directly addressed memory is an exclusive-or of counter bits, so a bank turns the same bits
    everywhere.
    """
    place, slot = addresses(board, memory, x, y)
    corners, _ = addresses(board, memory, 0, 0, np.arange(board.bank_count))
    turns = corners ^ corners[0]
    return lambda bank: (place ^ turns[bank % board.bank_count], slot)


def scan(board: Board, words: MemoryWords, x: ArrayLike, y: ArrayLike, bank: ArrayLike = 0) -> Scan:
    """Scan all memories. ``x``, ``y`` and ``bank`` are counter values and bank numbers, integers that broadcast."""
    return _scan(Levels(board, x, y, bank), words, {})


def scan_by_bank(board: Board, words: MemoryWords, x: ArrayLike, y: ArrayLike) -> Callable[[int], Scan]:
    """Return the function that gives the ``scan`` of a bank, quickly for many banks."""
    of = {memory.name: addresses_by_bank(board, memory, x, y) for memory in board.memories if is_direct(board, memory)}
    return lambda bank: _scan(Levels(board, x, y, bank), words, {name: at(bank) for name, at in of.items()})


def _scan(levels: Levels, words: MemoryWords, known: Mapping[str, tuple[Ints, Ints]]) -> Scan:
    """Scan all memories; of some, address and slot are known."""
    found, slots = {}, {}
    for memory in levels.board.order:
        found[memory.name], slots[memory.name] = known.get(memory.name) or (levels.address(memory), levels.slot(memory))
        levels.put_out(memory, words[memory.name][found[memory.name]].astype(np.int64))
    return Scan(addresses=found, slots=slots, codes=levels.codes())
