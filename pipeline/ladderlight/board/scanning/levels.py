"""The levels of lines: what gates make of them, and all of them at some counts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Expression, Signal
from ladderlight.board.model.memory import Memory
from ladderlight.units.arrays import Ints

Pin = tuple[str, int]
"""A data pin: memory and number."""


@dataclass(frozen=True)
class Parity:
    """The level of an address pin: a constant ``level``, turned by each high one of some counter bits and data pins.

    Lines that enter the pin's gates an even number of times cancel out.
    """

    counters: frozenset[tuple[Signal, int]]
    outputs: frozenset[Pin]
    level: int


def parity_of(board: Board, expression: Expression) -> Parity:
    """Resolve the exclusive-or of lines that drives an address pin."""
    counters, outputs = frozenset[tuple[Signal, int]](), frozenset[Pin]()
    level = int(expression.inverted)
    for line in map(board.resolve, expression.lines):
        if line.signal is Signal.CONSTANT:
            level ^= line.index
        elif line.signal is Signal.OUTPUT:
            outputs ^= {(line.memory, line.index)}
        else:
            counters ^= {(line.signal, line.index)}
    return Parity(counters, outputs, level)


class Levels:
    """The state of all lines at counts x, y and bank, integers that broadcast to ``shape``.

    ``outputs`` holds what each memory puts out, int64 of that shape; it is filled in the order of the memories' graph.
    """

    def __init__(self, board: Board, x: ArrayLike, y: ArrayLike, bank: ArrayLike) -> None:
        """Keep the counters; no memory has been read yet."""
        self.board = board
        self.counters = {
            Signal.X: np.asarray(x, dtype=np.int64),
            Signal.Y: np.asarray(y, dtype=np.int64),
            Signal.BANK: board.bank_levels(bank),
        }
        self.shape = np.broadcast_shapes(*(counter.shape for counter in self.counters.values()))
        self.outputs: dict[str, Ints] = {}

    def address(self, memory: Memory) -> Ints:
        """Return a memory's address, int64; the memories that it depends on must have been read."""
        address = np.zeros(self.shape, dtype=np.int64)
        for pin, expression in enumerate(memory.address):
            address |= self._level(expression) << pin
        return address

    def slot(self, memory: Memory) -> Ints:
        """Return which pixel of a packed word is sent, 0 for the first, int64."""
        slot = np.zeros(self.shape, dtype=np.int64)
        if memory.packing.pixels > 1:
            slot |= self.counters[Signal.X] >> self.board.first_select_bit(memory) & memory.packing.pixels - 1
        return slot

    def put_out(self, memory: Memory, words: Ints) -> None:
        """Record the words read from a memory, of which a packed one puts out one pixel."""
        if memory.packing.pixels > 1:
            shifts = np.array([memory.shift_of(slot) for slot in range(memory.packing.pixels)])
            words = words >> shifts[self.slot(memory)] & (1 << memory.pixel_width) - 1
        self.outputs[memory.name] = words

    def codes(self) -> Ints:
        """Return the codes on the ladders, int64, once all memories have been read."""
        codes = np.zeros(self.shape, dtype=np.int64)
        bits: dict[tuple[str, int], int] = {}
        for bit, name in enumerate(self.board.code_lines):
            source = self.board.outputs[name]
            bits[source.memory, source.index - bit] = bits.get((source.memory, source.index - bit), 0) | 1 << bit
        for (memory, down), mask in bits.items():  # all bits of a word that move equally far at once
            words = self.outputs[memory]
            codes |= (words >> down if down > 0 else words << -down if down else words) & mask
        return codes

    def _level(self, expression: Expression) -> Ints:
        parity = parity_of(self.board, expression)
        level = np.full((), parity.level, dtype=np.int64)
        for signal, bit in parity.counters:
            level = level ^ (self.counters[signal] >> bit & 1)
        for name, pin in parity.outputs:
            level = level ^ (self.outputs[name] >> pin & 1)
        return level
