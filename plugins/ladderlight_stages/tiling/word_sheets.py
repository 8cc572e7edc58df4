"""Words of all memories, collected at chosen addresses."""

from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from ladderlight import ArrangementError, Board, Frozen, MemoryContents
from ladderlight.board import Memory
from ladderlight.board.scanning.sheets import Sheet, blank_sheet
from ladderlight.units.arrays import Ints


class Sheets(Frozen):
    """Collects words by address."""

    board: Board
    _sheets: dict[str, Sheet] = field(default_factory=dict)

    def put(self, memory: Memory, address: Ints, slot: Ints, values: NDArray[np.uint32], mask: int) -> None:
        """Put values, each of the width of a pixel, into the pins of ``mask`` at addresses and slots.

        Raises ArrangementError when another value is needed at an address already used, or an address is beyond the
        memory.
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
        sheet = self._sheets.setdefault(memory.name, blank_sheet(memory))
        bits = np.uint32(mask)
        clash = sheet.write(address, words, bits)
        clash |= sheet.write(address, words, bits)  # the same address twice
        if clash.any():
            where = int(address[np.flatnonzero(clash)[0]])
            raise ArrangementError(
                f"memory {memory.name!r}, address {where:04X}h: two different words are needed there; check its "
                "address lines"
            )

    def contents(self) -> dict[str, MemoryContents]:
        """Return the words of every memory, those with nothing put into them included."""
        sheets = {memory.name: self._sheets.get(memory.name) or blank_sheet(memory) for memory in self.board.memories}
        return {name: MemoryContents(words=sheet.words, written=sheet.written) for name, sheet in sheets.items()}
