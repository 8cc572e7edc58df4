"""The scan: from counts and bank to the addresses of all memories and the code on the ladders, vectorised."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ladderlight.board.board import Board
from ladderlight.board.lines import Expression, Signal
from ladderlight.board.memory import Memory

Words = Mapping[str, NDArray[np.unsignedinteger]]
Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Scan:
    """What the board does at some counts: each memory's ``addresses``, and the ``codes`` on the ladders, all int64.

    ``slots`` tells which pixel of a packed word is sent, 0 for the first. All have the broadcast shape of the counts.
    """

    addresses: Mapping[str, Ints]
    slots: Mapping[str, Ints]
    codes: Ints


def is_direct(board: Board, memory: Memory) -> bool:
    """Whether counters, banks and constants alone address a memory."""
    return not board.sources[memory.name]


def addresses(board: Board, memory: Memory, x: ArrayLike, y: ArrayLike, bank: ArrayLike = 0) -> tuple[Ints, Ints]:
    """Give address and slot of a directly addressed memory at counts x, y and bank (integers that broadcast)."""
    return _Evaluation(board, x, y, bank, {}).locate(memory)


def scan(board: Board, words: Words, x: ArrayLike, y: ArrayLike, bank: ArrayLike = 0) -> Scan:
    """Scan all memories.

    Parameters
    ----------
    board
        The board.
    words
        The words of every memory, by name: unsigned, shape (words,).
    x, y, bank
        Counter values and bank numbers, integers of shapes that broadcast.
    """
    evaluation = _Evaluation(board, x, y, bank, words)
    codes = np.zeros(evaluation.shape, dtype=np.int64)
    places = {}
    for memory in board.order:
        places[memory.name] = evaluation.locate(memory)
        evaluation.read(memory, *places[memory.name])
    for bit, name in enumerate(board.code_lines):
        line = board.outputs[name]
        codes |= (evaluation.output[line.memory] >> line.index & 1) << bit
    return Scan(
        addresses={name: address for name, (address, _) in places.items()},
        slots={name: slot for name, (_, slot) in places.items()},
        codes=codes,
    )


class _Evaluation:
    """The state of all lines at some counts."""

    def __init__(self, board: Board, x: ArrayLike, y: ArrayLike, bank: ArrayLike, words: Words) -> None:
        self.board = board
        self.words = words
        self.counters = {
            Signal.X: np.asarray(x, dtype=np.int64),
            Signal.Y: np.asarray(y, dtype=np.int64),
            Signal.BANK: np.asarray(bank, dtype=np.int64),
        }
        self.shape = np.broadcast_shapes(*(counter.shape for counter in self.counters.values()))
        self.output: dict[str, Ints] = {}

    def locate(self, memory: Memory) -> tuple[Ints, Ints]:
        address = np.zeros(self.shape, dtype=np.int64)
        for pin, expression in enumerate(memory.address):
            address |= self._level(expression) << pin
        slot = np.zeros(self.shape, dtype=np.int64)
        if memory.packing.pixels > 1:
            slot |= self.counters[Signal.X] >> self.board.first_select_bit(memory) & (memory.packing.pixels - 1)
        return address, slot

    def read(self, memory: Memory, address: Ints, slot: Ints) -> None:
        word = self.words[memory.name][address].astype(np.int64)
        if memory.packing.pixels > 1:
            shifts = np.array([memory.shift_of(slot) for slot in range(memory.packing.pixels)])
            word = word >> shifts[slot] & ((1 << memory.pixel_width) - 1)
        self.output[memory.name] = word

    def _level(self, expression: Expression) -> Ints:
        level = np.full((), int(expression.inverted), dtype=np.int64)
        for line in map(self.board.resolve, expression.lines):
            if line.signal is Signal.CONSTANT:
                level = level ^ line.index
            elif line.signal is Signal.OUTPUT:
                level = level ^ (self.output[line.memory] >> line.index & 1)
            else:
                level = level ^ (self.counters[line.signal] >> line.index & 1)
        return level
