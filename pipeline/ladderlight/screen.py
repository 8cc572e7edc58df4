"""What the monitor shows, computed from the device files as they are on disk."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Memory, srgb_from_linear
from ladderlight.board.lines import Expression, Signal
from ladderlight.board.scan import scan
from ladderlight.board.timing import hold_of
from ladderlight.devicefiles import join_files
from ladderlight.errors import DeviceFileError
from ladderlight.pictures import DeviceFile

Words = Mapping[str, NDArray[np.uint32]]
Ints = NDArray[np.int64]


def read_memories(board: Board, folder: Path, files: Iterable[DeviceFile]) -> dict[str, NDArray[np.uint32]]:
    """Read the device files from disk and put the memories' words together.

    What ``files`` carry as data is not looked at: only what stands in ``folder`` under their names.

    Raises
    ------
    DeviceFileError
        When a file is missing or damaged, two files of a device disagree, or a device is not covered by its files.
    """
    found = []
    for file in files:
        if file.span is None:
            continue
        try:
            found.append(replace(file, data=(folder / file.name).read_bytes()))
        except OSError as error:
            raise DeviceFileError(f"{folder / file.name}: cannot be read ({error.strerror}); build again") from error
    return memories_of(board, found)


def memories_of(board: Board, files: Iterable[DeviceFile]) -> dict[str, NDArray[np.uint32]]:
    """Put the memories' words together from device files: uint32, shape (words of the memory,).

    Raises
    ------
    DeviceFileError
        As :func:`read_memories`.
    """
    by_device: dict[str, list[DeviceFile]] = {}
    for file in files:
        by_device.setdefault(file.device, []).append(file)
    return {
        memory.name: np.concatenate([join_files(by_device.get(device.name, []), device) for device in memory.devices])
        for memory in board.memories
    }


def picture_codes(board: Board, words: Words, bank: int = 0) -> Ints:
    """Give the codes of one bank by picture pixel: int64, shape (height, width) of the board's picture."""
    return scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank).codes


def screen_codes(board: Board, words: Words, bank: int = 0) -> Ints:
    """Give the code of every visible count and line, registers taken into account: int64, shape (lines, counts)."""
    if all(memory.output == "direct" for memory in board.memories):
        return picture_codes(board, words, bank)[np.ix_(board.y_grid.cells, board.x_grid.cells)]
    columns = np.unique(board.x_grid.cells, return_index=True)[1]
    lines = np.arange(board.raster.y.visible)
    codes = _Playback(board=board, words=words, bank=bank).codes(columns[None, :], lines[:, None])
    return codes[:, board.x_grid.cells]


def render(board: Board, words: Words, bank: int = 0) -> NDArray[np.uint8]:
    """Show one bank as the monitor does at the mode's full resolution.

    Where a monitor pixel covers more than one count, or parts of two, their light is averaged.

    Returns
    -------
    uint8, shape (active lines, active monitor pixels, 3), sRGB.
    """
    codes = screen_codes(board, words, bank)
    active, visible = board.raster.mode.horizontal.active, board.raster.x.visible
    if active % visible == 0:
        return board.palette.srgb8[codes.repeat(active // visible, axis=1)]
    edges = np.arange(active + 1) * visible / active
    whole = np.minimum(np.floor(edges).astype(np.int64), visible - 1)
    shown = np.empty((len(codes), active, 3), dtype=np.uint8)
    for line, row in enumerate(codes):
        light = board.palette.linear[row]
        before = np.concatenate([np.zeros((1, 3)), np.cumsum(light, axis=0)])
        until = before[whole] + light[whole] * (edges - whole)[:, None]
        mean = np.diff(until, axis=0) * (active / visible)
        shown[line] = np.rint(srgb_from_linear(np.clip(mean, 0, 1)) * 255).astype(np.uint8)
    return shown


@dataclass(frozen=True, kw_only=True)
class _Playback:
    """The board in time. An instant is a count along the line and a line, both from the first visible one.

    A registered output shows the word that was addressed just before the register's last clock edge, so the picture
    stands one hold further right, and the first hold of each line shows what the counts before it address.
    """

    board: Board
    words: Words
    bank: int

    def codes(self, column: Ints, line: Ints) -> Ints:
        """Give the code on the ladders at some instants."""
        outputs = {memory.name: self._output(memory, column, line) for memory in self.board.memories}
        codes = np.zeros(np.broadcast_shapes(column.shape, line.shape), dtype=np.int64)
        for bit, name in enumerate(self.board.code_lines):
            source = self.board.outputs[name]
            codes |= (outputs[source.memory] >> source.index & 1) << bit
        return codes

    @cached_property
    def _holds(self) -> dict[str, int]:
        """Counts that each registered memory holds a word; those that no x bit moves have none."""
        clock = float(self.board.raster.clock)
        holds = {
            memory.name: round(hold_of(self.board, memory) * clock)
            for memory in self.board.memories
            if memory.output == "register"
        }
        return {name: hold for name, hold in holds.items() if hold < self.board.raster.x.total}

    def _output(self, memory: Memory, column: Ints, line: Ints) -> Ints:
        x, _ = self._counters(column, line)
        slot = x >> self.board.first_select_bit(memory) & (memory.packing.pixels - 1)
        if memory.name in self._holds:
            column = column - (x & (self._holds[memory.name] - 1)) - 1
            line = line - (column < 0)
            column = np.where(column < 0, column + self.board.raster.x.total, column)
        address = np.zeros(np.broadcast_shapes(column.shape, line.shape), dtype=np.int64)
        for pin, expression in enumerate(memory.address):
            address |= self._level(expression, column, line) << pin
        word = self.words[memory.name][address].astype(np.int64)
        if memory.packing.pixels > 1:
            shifts = np.array([memory.shift_of(slot) for slot in range(memory.packing.pixels)])
            word = word >> shifts[slot] & ((1 << memory.pixel_width) - 1)
        return word

    def _level(self, expression: Expression, column: Ints, line: Ints) -> Ints:
        level = np.full((), int(expression.inverted), dtype=np.int64)
        x, y = self._counters(column, line)
        values = {Signal.X: x, Signal.Y: y, Signal.BANK: np.asarray(self.bank, dtype=np.int64)}
        for item in map(self.board.resolve, expression.lines):
            if item.signal is Signal.CONSTANT:
                level = level ^ item.index
            elif item.signal is Signal.OUTPUT:
                level = level ^ (self._output(self.board.memory(item.memory), column, line) >> item.index & 1)
            else:
                level = level ^ (values[item.signal] >> item.index & 1)
        return level

    def _counters(self, column: Ints, line: Ints) -> tuple[Ints, Ints]:
        """Give both counters; they go on upward during blanking and wrap at their widths."""
        board = self.board
        line = line % board.raster.y.total
        x = (board.counters.x_start + column) & ((1 << board.x_bits) - 1)
        y = (board.counters.y_start + line) & ((1 << board.y_bits) - 1)
        return x, y
