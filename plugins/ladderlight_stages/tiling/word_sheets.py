"""Words of all memories, collected at chosen addresses."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ladderlight import ArrangementError, Board, MemoryContents
from ladderlight.board import Memory
from ladderlight.units.arrays import Ints


@dataclass(frozen=True, kw_only=True)
class Sheets:
    """Collects words by address."""

    board: Board
    _contents: dict[str, MemoryContents] = field(default_factory=dict)

    def put(self, memory: Memory, address: Ints, slot: Ints, values: NDArray[np.uint32], mask: int) -> None:
        """Put values, each of the width of a pixel, into the pins of ``mask`` at addresses and slots.

        Raises
        ------
        ArrangementError
            When another value is needed at an address already used, or an address is beyond the memory.
        """
        address, slot, values = address.ravel(), slot.ravel(), values.ravel()
        for number in range(memory.packing.pixels):  # one slot at a time, so that no address is written twice at once
            of, shift = slot == number, np.uint32(memory.shift_of(number))
            self.put_words(memory, address[of], values[of] << shift, mask << int(shift))

    def put_words(self, memory: Memory, address: Ints, words: NDArray[np.uint32], mask: int) -> None:
        """Put the bits of ``mask`` of whole words at addresses. Raises as :meth:`put` does."""
        if address.size and int(address.max()) >= memory.words:
            raise ArrangementError(
                f"address {int(address.max()):X}h is beyond memory {memory.name!r}, whose last is "
                f"{memory.words - 1:X}h; place it lower or use a larger part"
            )
        contents = self._contents.setdefault(memory.name, _blank(memory))
        bits = np.uint32(mask)
        new = words & bits
        clash = (contents.words[address] ^ new) & contents.written[address] & bits
        contents.words[address] = contents.words[address] & ~bits | new
        contents.written[address] |= bits
        clash |= contents.words[address] & bits ^ new  # the same address twice
        if clash.any():
            where = int(address[np.flatnonzero(clash)[0]])
            raise ArrangementError(
                f"memory {memory.name!r}, address {where:04X}h: two different words are needed there; check its "
                "address lines"
            )

    def contents(self) -> dict[str, MemoryContents]:
        """Return the words of every memory, empty ones included."""
        return {memory.name: self._contents.get(memory.name) or _blank(memory) for memory in self.board.memories}


def _blank(memory: Memory) -> MemoryContents:
    return MemoryContents(
        words=np.full(memory.words, memory.fill_word, dtype=np.uint32),
        written=np.zeros(memory.words, dtype=np.uint32),
    )
