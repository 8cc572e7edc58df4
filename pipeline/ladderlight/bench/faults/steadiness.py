"""Which faults reach sync, blanking or the counters' resets, where memories carry them."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ladderlight.bench.faults.wiring import Faulty
from ladderlight.board import Board
from ladderlight.board.model.lines import timing_line
from ladderlight.board.scanning.scan import scan
from ladderlight.board.scanning.timing_lines import timing_addresses, timing_pins
from ladderlight.units.arrays import Ints, MemoryWords, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class TimingLines:
    """The timing lines of a board whose memories hold ``words``, in one bank, over all counts of a frame."""

    board: Board
    words: MemoryWords
    bank: int

    def steady(self, faulty: Faulty) -> bool:
        """Whether sync and resets stay as they are under a fault; blanking alone leaves the picture in its place."""
        board, held = faulty
        return not any(self._changed(board, held, name, mask) for name, mask in self._masks.items())

    def _changed(self, board: Board, held: MemoryWords, name: str, mask: np.uint32) -> bool:
        if board.memory(name).address == self.board.memory(name).address:
            used = self._used[name]
            return bool(((held[name][used] ^ self.words[name][used]) & mask).any())
        return bool(((self._read(board, held, name) ^ self._plain[name]) & mask).any())

    def _read(self, board: Board, held: MemoryWords, name: str) -> Words:
        """Return the words at all counts: shape (lines, counts)."""
        x, y = np.arange(board.raster.x.total), np.arange(board.raster.y.total)
        across, _ = board.readings(x, 0)
        down = board.y_counter.read(y)
        read: Words = held[name][scan(board, held, across[None, :], down[:, None], self.bank).addresses[name]]
        return read

    @cached_property
    def _masks(self) -> Mapping[str, np.uint32]:
        """The pins of sync and resets, by memory."""
        masks = {
            memory.name: sum(1 << pin for pin, line in timing_pins(memory).items() if timing_line(line) != "blank")
            for memory in self.board.memories
        }
        return {name: np.uint32(mask) for name, mask in masks.items() if mask}

    @cached_property
    def _used(self) -> Mapping[str, Ints]:
        return {name: timing_addresses(self.board, self.board.memory(name)) for name in self._masks}

    @cached_property
    def _plain(self) -> Mapping[str, Words]:
        return {name: self._read(self.board, self.words, name) for name in self._masks}
