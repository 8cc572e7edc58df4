"""The board's output during blanking, and how memories keep it dark where nothing else does.

With ``blanking = "none"`` the counters go on and the memories are read during blanking too. Those words can be black
unless the visible part of the same bank reads them as well. Output registers delay the picture: where blanking is
not delayed as much, words of the picture's right edge reach the monitor during blanking, and the left edge shows words
that are read before the picture.
"""

from collections.abc import Iterable, Iterator
from typing import Literal

import numpy as np

from ladderlight.board.model.board import Board
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.lookup import Contents, black_index, lookup_of
from ladderlight.board.scanning.scan import addresses, is_direct
from ladderlight.board.scanning.sheets import Sheet
from ladderlight.board.scanning.timing import picture_delay
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints

DARK_VOLTS = 2e-3
"""Voltage up to which a gun passes as dark: under half a step of 8 bits at 0.7 V."""
Moment = tuple[int, int]
"""A count and line of the raster, both from the first visible one."""


class Shared(Frozen):
    """A word that is read in the visible part and during blanking: how many there are, and where the first is read."""

    memory: str
    words: int
    address: int
    visible: Moment
    blanking: Moment


class Darkness(Frozen):
    """The monitor's input during blanking.

    ``volts`` is the highest voltage at each gun, None where it depends on the contents. ``dark`` says whether that is
    black: yes, no, or (None) only when the contents are made so. ``shared`` are the words that cannot be, one entry
    for each memory that has any. ``known`` is False where memories address each other in a way that leaves open which
    words would have to be black.
    """

    volts: tuple[float, float, float] | None
    dark: bool | None
    shared: tuple[Shared, ...] = ()
    known: bool = True

    @property
    def fillable(self) -> bool:
        """Whether contents can make the board dark during blanking."""
        return self.dark is None and self.known and not self.shared


def darkness_of(board: Board) -> Darkness:
    """Return what the board puts out during blanking.

    Output-enable lets the outputs float: no current flows, and the load pulls every gun to ground. A cleared register
    and gates drive all lines low: code 0. Otherwise the words decide that the counters address then.
    """
    if board.blanking == "output-enable":
        return Darkness(volts=(0.0, 0.0, 0.0), dark=True)
    if board.blanking in ("register", "gate"):
        red, green, blue = map(float, board.palette.volts[0])
        return Darkness(volts=(red, green, blue), dark=max(red, green, blue) <= DARK_VOLTS)
    if float(board.palette.volts[board.palette.black_code].max()) > DARK_VOLTS:
        return Darkness(volts=None, dark=False)
    read = _picture_memories(board)
    if read is None:
        return Darkness(volts=None, dark=None, known=False)
    shared = (_shared(board, memory) for memory in read)
    return Darkness(volts=None, dark=None, shared=tuple(item for item in shared if item is not None))


def first_shown(board: Board) -> Literal["black", "fill", "picture", "unknown"]:
    """Return what shows at the left edge where registers delay the picture by more counts than blanking is delayed.

    ``black`` or ``fill`` where no picture reads those words, ``picture`` for words of its other places, ``unknown``
    where another memory chooses them.
    """
    read = _picture_memories(board)
    if read is None:
        return "unknown"
    columns, lines = np.arange(board.raster.x.visible)[None, :], np.arange(board.raster.y.visible)[:, None]
    before = np.arange(board.counters.blanking_delay - picture_delay(board), 0)[None, :]
    for memory in read:
        if np.isin(_keys(board, memory, before, lines, 0), _keys(board, memory, columns, lines, 0)).any():
            return "picture"
    return "black" if board.blanking == "none" else "fill"


def fill_blanking(board: Board, contents: Contents, banks: Iterable[int]) -> Contents:
    """Return contents in which the words read only during blanking are black.

    Bits that are written already stay as they are. For a board that is dark during blanking by itself, or whose
    memories address each other otherwise than for colour look-up, the contents are returned as they are. ``banks`` are
    those in use; the others stay erased.
    """
    read = _picture_memories(board)
    if board.blanking != "none" or read is None:
        return contents
    filled = {name: (words.copy(), written.copy()) for name, (words, written) in contents.items()}
    lookup = lookup_of(board)
    for bank in banks:
        if lookup is None:
            lines = [board.outputs[line] for line in board.code_lines]
            levels = {(at.memory, at.index): board.palette.black_code >> bit & 1 for bit, at in enumerate(lines)}
        else:
            index = black_index(board, lookup, filled, bank)
            if index is None:
                continue
            levels = lookup.levels(index)
        for memory in read:
            words, written = filled[memory.name]
            pins = [pin for pin in range(memory.pixel_width) if (memory.name, pin) in levels]
            value, mask = sum(levels[memory.name, pin] << pin for pin in pins), sum(1 << pin for pin in pins)
            for slot in range(memory.packing.pixels):
                shift = memory.shift_of(slot)
                at = _blanked(board, memory, bank, slot)
                blank = np.full(len(at), value << shift, dtype=np.uint32)
                Sheet(words=words, written=written).write(at, blank, np.uint32(mask << shift) & ~written[at])
    return filled


def _picture_memories(board: Board) -> tuple[Memory, ...] | None:
    """Return the memories whose words choose the colour of each place, None when that is not known."""
    if all(is_direct(board, memory) for memory in board.driving_memories):
        return board.driving_memories
    lookup = lookup_of(board)
    return None if lookup is None else lookup.sources


def _blanking_counts(board: Board, later: int = 0) -> Iterator[tuple[Ints, Ints]]:
    """Yield columns and lines of the blanked parts, shapes (1, n) and (m, 1): beside the picture, and below it.

    All are so many counts ``later``; columns past the last of a line belong to the next line.
    """
    x, y = board.raster.x, board.raster.y
    lines, below = np.arange(y.visible)[:, None], np.arange(y.visible, y.total)[:, None]
    yield np.arange(x.visible, x.total)[None, :] + later, lines
    yield np.arange(x.total)[None, :] + later, below


def _keys(board: Board, memory: Memory, column: Ints, line: Ints, bank: int) -> Ints:
    address, slot = addresses(board, memory, *board.readings(column, line), bank)
    return address * memory.packing.pixels + slot


def _blanked(board: Board, memory: Memory, bank: int, slot: int) -> Ints:
    """Return the addresses that blanking reads one slot of."""
    read = np.zeros((memory.words, memory.packing.pixels), dtype=bool)
    for column, line in _blanking_counts(board):
        read.reshape(-1)[_keys(board, memory, column, line, bank)] = True
    return np.flatnonzero(read[:, slot])


def _shared(board: Board, memory: Memory) -> Shared | None:
    """Return the words of a memory that the picture reads and that reach the monitor during blanking, None if none."""
    columns, lines = np.arange(board.raster.x.visible)[None, :], np.arange(board.raster.y.visible)[:, None]
    visible = _keys(board, memory, columns, lines, 0)
    pixels = memory.packing.pixels
    seen = np.zeros(memory.words * pixels, dtype=bool)
    seen[visible] = True
    both = np.zeros(memory.words * pixels, dtype=bool)
    first: tuple[int, Moment] | None = None
    for column, line in _blanking_counts(board, board.counters.blanking_delay - picture_delay(board)):
        keys = _keys(board, memory, column, line, 0)
        hit = seen[keys]
        both[keys[hit]] = True
        if first is None and hit.any():
            row, at = divmod(int(np.argmax(hit)), hit.shape[1])
            after, within = divmod(int(column[0, at]), board.raster.x.total)
            first = int(keys[row, at]), (within, (int(line[row, 0]) + after) % board.raster.y.total)
    if first is None:
        return None
    key, moment = first
    row, at = divmod(int(np.argmax(visible == key)), visible.shape[1])
    return Shared(
        memory=memory.name,
        words=int(both.reshape(-1, pixels).any(axis=1).sum()),
        address=key // pixels,
        visible=(at, row),
        blanking=moment,
    )
