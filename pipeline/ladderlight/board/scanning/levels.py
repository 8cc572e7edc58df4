"""The levels of all lines at some counts: what the counters, the memories that were read and the gates make of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Expression, Signal
from ladderlight.board.model.memory import Memory
from ladderlight.units.arrays import Ints


class Levels:
    """The state of all lines at counts x, y and bank, integers that broadcast to ``shape``.

    ``outputs`` holds what each memory puts out, int64 of that shape; it is filled in the order of the memories' graph.
    """

    def __init__(self, board: Board, x: ArrayLike, y: ArrayLike, bank: ArrayLike) -> None:
        """Take the counters; no memory has been read yet."""
        self.board = board
        self.counters = {
            Signal.X: np.asarray(x, dtype=np.int64),
            Signal.Y: np.asarray(y, dtype=np.int64),
            Signal.BANK: board.bank_levels(bank),
        }
        self.shape = np.broadcast_shapes(*(counter.shape for counter in self.counters.values()))
        self.outputs: dict[str, Ints] = {}

    def address(self, memory: Memory) -> Ints:
        """Give a memory's address. Those that its address depends on must have been read."""
        address = np.zeros(self.shape, dtype=np.int64)
        for pin, expression in enumerate(memory.address):
            address |= self._level(expression) << pin
        return address

    def slot(self, memory: Memory) -> Ints:
        """Tell which pixel of a packed word is sent, 0 for the first."""
        slot = np.zeros(self.shape, dtype=np.int64)
        if memory.packing.pixels > 1:
            slot |= self.counters[Signal.X] >> self.board.first_select_bit(memory) & memory.packing.pixels - 1
        return slot

    def put_out(self, memory: Memory, words: Ints) -> None:
        """Note the words that a memory holds at its addresses, and thereby what it puts out: a pixel of each."""
        if memory.packing.pixels > 1:
            shifts = np.array([memory.shift_of(slot) for slot in range(memory.packing.pixels)])
            words = words >> shifts[self.slot(memory)] & (1 << memory.pixel_width) - 1
        self.outputs[memory.name] = words

    def codes(self) -> Ints:
        """Give the code on the ladders, all memories having been read."""
        codes = np.zeros(self.shape, dtype=np.int64)
        for bit, name in enumerate(self.board.code_lines):
            source = self.board.outputs[name]
            codes |= (self.outputs[source.memory] >> source.index & 1) << bit
        return codes

    def _level(self, expression: Expression) -> Ints:
        level = np.full((), int(expression.inverted), dtype=np.int64)
        for line in map(self.board.resolve, expression.lines):
            if line.signal is Signal.CONSTANT:
                level = level ^ line.index
            elif line.signal is Signal.OUTPUT:
                level = level ^ (self.outputs[line.memory] >> line.index & 1)
            else:
                level = level ^ (self.counters[line.signal] >> line.index & 1)
        return level
