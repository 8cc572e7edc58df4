"""Timing lines: what a memory must hold at each address so that its data pins carry sync, blanking and resets.

Their levels follow from the raster alone, at every count of a frame, blanking included. A register's delay is taken
off: the word that it takes is the one for the counts at which it shows it.
"""

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

import numpy as np

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Signal, expand, timing_line
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.scan import addresses
from ladderlight.board.scanning.timing import hold_in_counts
from ladderlight.errors import Problem
from ladderlight.units.arrays import Flags, Ints, Words, dtype_of
from ladderlight.units.words import joined


def timing_pins(memory: Memory) -> dict[int, str]:
    """Return a memory's data pins that drive timing lines, each with its line."""
    return {pin: name for pin, name in enumerate(memory.data) if timing_line(name)}


def timing_conflicts(board: Board) -> Iterator[Problem]:
    """Yield a problem for each pin whose line the memory's address cannot carry: at two counts it shows the same word.

    The memories must be addressed by counters, banks and constants alone, and have one pixel in a word.
    """
    for index, memory in enumerate(board.memories):
        pins = timing_pins(memory)
        if not pins:
            continue
        frame = _Frame(board)
        read = frame.read(memory)
        for pin, name in pins.items():
            level = frame.level(name)
            both = _conflicting(read, level, memory.words)
            if both is None:
                continue
            low, high = (int(np.argmax((read == both) & (level == wanted))) for wanted in (False, True))
            bits = joined(_missing(board, memory, name))
            yield Problem(
                where=("memory", index, "data", pin),
                what=f"timing line {name!r} must be low at {frame.place(low)} and high at {frame.place(high)}, but "
                f"memory {memory.name!r} shows the word at address {both:04X}h at both",
                action=f"add {bits} to its address" if bits else "check the gates and constants in its address",
            )


def timing_addresses(board: Board, memory: Memory) -> Ints:
    """Return the addresses, ascending, that a memory's timing lines are read from in bank 0; none without any."""
    return np.unique(_Frame(board).read(memory)) if timing_pins(memory) else np.empty(0, dtype=np.int64)


def timing_words(board: Board, memory: Memory) -> tuple[Words, Words]:
    """Return the levels of a memory's timing lines by address, and the bits that are needed.

    Every bank has them, whether it holds a picture or not. Unsigned, as wide as a word, both of shape (words,).
    """
    kind = dtype_of(memory.part.width)
    words, needed = np.zeros(memory.words, dtype=kind), np.zeros(memory.words, dtype=kind)
    pins = timing_pins(memory)
    if not pins:
        return words, needed
    frame = _Frame(board)
    read = frame.read(memory)
    used = np.unique(read)
    for pin, name in pins.items():
        words[read[frame.level(name)]] |= kind.type(1 << pin)
    for bank in _turns(board, memory):
        words[used ^ bank] = words[used]
        needed[used ^ bank] = sum(1 << pin for pin in pins)
    return words, needed


def _turns(board: Board, memory: Memory) -> list[int]:
    """Return what each combination of a memory's bank lines turns of its address."""
    wired = {line.index for line in board.address_lines(memory) if line.signal is Signal.BANK}
    bits = [1 << place for place, index in enumerate(board.bank_lines) if index in wired]
    first = int(addresses(board, memory, 0, 0, 0)[0])
    turns = {0}
    for bit in bits:
        turn = int(addresses(board, memory, 0, 0, bit)[0]) ^ first
        turns |= {turn ^ other for other in turns}
    return sorted(turns)


def _conflicting(read: Ints, level: Flags, words: int) -> int | None:
    """Return the first address, by time, at which a line would have to be both low and high; None if there is none."""
    high, low = (np.zeros(words, dtype=bool) for _ in range(2))
    high[read[level]] = True
    low[read[~level]] = True
    both = (high & low)[read]
    return int(read[np.argmax(both)]) if both.any() else None


def _missing(board: Board, memory: Memory, name: str) -> list[str]:
    """Return the fewest counter bits, found one by one, with which a memory could carry a line; empty if none do."""
    wired = {(line.signal, line.index) for line in board.address_lines(memory)}
    bits = [
        f"{signal.value}{bit}"
        for signal, counter in ((Signal.X, board.x_counter), (Signal.Y, board.y_counter))
        for bit in range(counter.highest.bit_length())
        if (signal, bit) not in wired
    ]
    # One counter first: with bits of both, a register is clocked at another time, so leaving bits out may end too soon.
    one = ([bit for bit in bits if bit[0] == counter.value] for counter in (Signal.X, Signal.Y))
    bits = next((some for some in (*one, bits) if some and _carries(board, memory, name, some)), [])
    for bit in reversed(bits):
        fewer = [other for other in bits if other != bit]
        if _carries(board, memory, name, fewer):
            bits = fewer
    return bits


def _carries(board: Board, memory: Memory, name: str, bits: list[str]) -> bool:
    """Whether a memory could carry a line with so many more counter bits in its address."""
    more = replace(memory, address=(*memory.address, *(pin for bit in bits for pin in expand(bit))), chips=1)
    wider = replace(board, memories=tuple(more if other is memory else other for other in board.memories))
    frame = _Frame(wider)
    _, read = np.unique(frame.read(more), return_inverse=True)
    return _conflicting(read, frame.level(name), len(read)) is None


class _Frame:
    """All moments of a frame, from the first visible count and line on, line by line: arrays of shape (moments,)."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.across, self.down = board.raster.x, board.raster.y
        line, column = np.divmod(np.arange(self.across.total * self.down.total), self.across.total)
        self.column, self.line = column, line
        self.x, self.y = board.readings(column, line)

    def place(self, moment: int) -> str:
        """Return what the counters read at a moment, in words."""
        return f"count {self.x[moment]} of line {self.y[moment]}"

    def read(self, memory: Memory) -> Ints:
        """Return the address whose word a memory's output, or its register, shows at each moment, in bank 0."""
        address, _ = addresses(self.board, memory, self.x, self.y)
        if memory.output == "direct":
            return address
        hold = hold_in_counts(self.board, memory)
        # A word that is held for lines is taken where the x counter is reset.
        into = self.x & hold - 1 if hold < self.across.total else self._since_reset
        return np.asarray(address[np.arange(address.size) - into - 1])

    @cached_property
    def _since_reset(self) -> Ints:
        return np.asarray((self.column + self.board.x_counter.ahead) % self.across.total)

    @cached_property
    def _row(self) -> Ints:
        """The line of the raster: the y counter steps where the x counter is reset."""
        stepped = (self.column + self.board.x_counter.ahead) // self.across.total
        return np.asarray((self.line + stepped) % self.down.total)

    def level(self, name: str) -> Flags:
        """Return whether a timing line is high at each moment."""
        line = timing_line(name)
        high = self._active(line)
        mode = self.board.raster.mode
        positive = {"hsync": mode.horizontal.positive, "vsync": mode.vertical.positive}.get(line, True)
        return high if positive != name.startswith("!") else ~high

    def _active(self, line: str) -> Flags:
        delay = self.board.counters.blanking_delay
        if line == "hsync":
            column = (self.column - delay) % self.across.total
            return np.asarray((column >= self.across.sync_start) & (column < self.across.sync_end))
        if line == "vsync":
            return np.asarray((self._row >= self.down.sync_start) & (self._row < self.down.sync_end))
        if line == "blank":
            lit = (self.column < self.across.visible) & (self.line < self.down.visible)
            return np.roll(~lit, delay)
        if line == "x_reset":
            return np.asarray(self._since_reset == self.across.total - 1)
        passed = (self._row + self.board.y_counter.ahead) % self.down.total
        return np.asarray(passed == self.down.total - 1)
