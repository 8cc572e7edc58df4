"""Words of memories while they are put together, and which of their bits are written."""

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.memory import Memory
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Words, dtype_of

At = slice | NDArray[np.integer]
"""Addresses, each once."""


class Sheet(Frozen):
    """The words of one memory and their written bits, shape (words,) of one type; both change in place."""

    words: Words
    written: Words

    def write(self, at: At, words: Words, bits: Words | np.uint32) -> Words:
        """Write the marked bits of words; return those of them that were written before, and otherwise."""
        held, written = self.words[at], self.written[at]
        turned = (held ^ words) & bits
        clash = turned & written
        self.words[at] = held ^ turned
        self.written[at] = written | bits
        return clash


def blank_sheet(memory: Memory) -> Sheet:
    """Return a sheet of a memory's fill, with nothing written."""
    dtype = dtype_of(memory.part.width)
    return Sheet(
        words=np.full(memory.words, memory.fill_word, dtype=dtype), written=np.zeros(memory.words, dtype=dtype)
    )
