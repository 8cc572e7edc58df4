"""Words of all memories while they are put together at addresses of one's own choice."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ladderlight import ArrangementError, Board, MemoryContents
from ladderlight.board import Memory

Ints = NDArray[np.int64]


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
            When another value is wanted at an address already used, or an address is beyond the memory.
        """
        contents = self._contents.setdefault(memory.name, _blank(memory))
        address, slot, values = address.ravel(), slot.ravel(), values.ravel()
        if address.size and not 0 <= int(address.min()) <= int(address.max()) < memory.words:
            beyond = int(address[(address < 0) | (address >= memory.words)][0])
            raise ArrangementError(
                f"address {beyond:X}h is beyond memory {memory.name!r}, whose last is {memory.words - 1:X}h; "
                "place it lower or use a larger part"
            )
        shifts = np.array([memory.shift_of(number) for number in range(memory.packing.pixels)], dtype=np.uint32)
        for number in range(memory.packing.pixels):  # one slot at a time, so that no address is written twice at once
            of = slot == number
            at, bits = address[of], np.uint32(mask) << shifts[number]
            new = values[of] << shifts[number] & bits
            clash = (contents.words[at] ^ new) & contents.written[at] & bits
            contents.words[at] = contents.words[at] & ~bits | new
            clash |= contents.words[at] & bits ^ new
            contents.written[at] |= bits
            if clash.any():
                where = int(at[np.flatnonzero(clash)[0]])
                raise ArrangementError(
                    f"memory {memory.name!r}, address {where:04X}h: two different words are wanted there; check the "
                    "address lines of the memory"
                )

    def contents(self) -> dict[str, MemoryContents]:
        """Give the words of every memory, those with nothing put into them included."""
        return {memory.name: self._contents.get(memory.name) or _blank(memory) for memory in self.board.memories}


def _blank(memory: Memory) -> MemoryContents:
    return MemoryContents(
        words=np.full(memory.words, memory.fill_word, dtype=np.uint32),
        written=np.zeros(memory.words, dtype=np.uint32),
    )
