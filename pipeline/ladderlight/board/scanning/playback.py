"""The board in time: the code on the ladders at each moment of a line, with registers and delays.

Moments are counted from the count that addresses the first pixel of the first visible line. Counts before it belong to
the end of the line before. An output register takes a word at the end of its hold and shows it for the next one, so
that the picture comes one hold later; ``blanking_delay`` lets sync and blanking, and so what the monitor shows, begin
later too. A direct output shows undefined data from the moment its address changes until the access time is over.
"""

from math import ceil

import numpy as np

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Signal, timing_line
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.levels import Levels
from ladderlight.board.scanning.timing import REGISTER_DELAY, hold_in_counts, is_clocked
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags, Floats, Ints, MemoryWords


class Shown(Frozen, eq=False):
    """The codes on the ladders in the visible part of one bank's frame, by the monitor's own pixels.

    ``codes`` int64 and ``undefined`` bool, both of shape (active lines, active monitor pixels), sampled in the middle
    of each monitor pixel. Where ``undefined``, the code is the one to come; until then the monitor may show anything.
    """

    codes: Ints
    undefined: Flags


def play(board: Board, words: MemoryWords, bank: int = 0, part: slice = slice(None)) -> Shown:
    """Play one frame, or a part of its lines.

    All that the counters drive comes ``board.counters.delay`` late, while the syncs are taken to come at once; a
    register's own delay is left out, as syncs mostly pass one too. Memories without an access time count as immediate.
    Monitor pixels whose middle is past the last visible count are black.
    """
    period = float(1 / board.raster.clock)
    direct = any(memory.output == "direct" for memory in board.driving_memories)
    late = board.counters.delay if direct else 0.0
    before = ceil(late / period) + 1
    counts = Stretch(board, words, bank, before=before, lines=np.zeros(1, dtype=np.int64), timed=False).column
    lines, kind = _unlike_lines(board, counts, part)
    stretch = Stretch(board, words, bank, before=before, lines=lines)
    # The monitor divides each line by its own clock: a pixel is 1/ratio counts, whatever the board's clock is off.
    passed = (np.arange(board.raster.mode.horizontal.active) + 0.5) * float(board.raster.ratio)
    visible = passed < board.raster.x.visible
    times = passed * period - late
    counts = np.minimum(np.floor(times / period).astype(np.int64), board.raster.x.visible - 1)
    at = counts + stretch.first
    codes = np.where(visible, stretch.levels.codes()[:, at], board.palette.black_code)
    undefined = (times - counts * period < stretch.ladders_unsure()[:, at]) & visible
    return Shown(codes=codes[kind], undefined=undefined[kind])


def _unlike_lines(board: Board, column: Ints, part: slice) -> tuple[Ints, Ints]:
    """Return one of each kind of a part of the lines that show the same at some counts, and the kind of each line."""
    lines = np.arange(board.raster.y.visible)[part]
    first, last = (column[[0, -1]] + board.x_counter.ahead) // board.raster.x.total
    cells = board.y_counter.read(lines[:, None] + np.arange(first, last + 1)) >> board.y_shift
    _, first, kind = np.unique(cells, axis=0, return_index=True, return_inverse=True)
    return lines[first], kind.reshape(-1)


def count_codes(board: Board, words: MemoryWords, bank: int = 0, lines: Ints | None = None) -> Ints:
    """Return the code on the ladders at every count that the monitor shows, registers included.

    Where a memory carries the blanking line, what it blanks is black. int64, shape (visible lines, visible counts);
    with ``lines`` given, for these of the visible lines only.
    """
    stretch = Stretch(board, words, bank, before=1, lines=lines, timed=False)
    codes = stretch.levels.codes()
    for name, pin in board.outputs.items():
        if timing_line(name) == "blank":
            blank = (stretch.levels.outputs[pin.memory] >> pin.index & 1).astype(bool) != name.startswith("!")
            codes = np.where(blank, board.palette.black_code, codes)
    return codes[:, stretch.first :]


class Stretch:
    """All memories at the counts of all visible lines, some counts before the first shown one included.

    ``levels`` holds what each memory or its register puts out, ``unsure``, unless not ``timed``, for how many seconds
    from the start of each count that is undefined; all of shape (lines, counts).
    """

    def __init__(
        self,
        board: Board,
        words: MemoryWords,
        bank: int,
        *,
        before: int,
        lines: Ints | None = None,
        timed: bool = True,
    ) -> None:
        """Read all memories at the counts of some visible lines, from so many counts ``before`` the shown ones on."""
        self.board, self.words, self.timed = board, words, timed
        registered = [memory for memory in board.memories if is_clocked(board, memory)]
        access = sum(memory.access or 0.0 for memory in board.memories)
        before = (
            before
            + sum(hold_in_counts(board, memory) for memory in registered)
            + ceil((access + REGISTER_DELAY) * float(board.raster.clock))
        )
        delay = board.counters.blanking_delay
        self.first = before + delay
        """Position of the first count that the monitor shows."""
        lines = np.arange(board.raster.y.visible) if lines is None else lines
        self.column = np.arange(-before, board.raster.x.visible + delay)
        x, y = board.readings(self.column, lines[:, None])
        self.levels = Levels(board, x, y, bank)
        self.shape = self.levels.shape
        self.unsure: dict[str, Floats] = {}
        for memory in board.order:
            self._pass_through(memory, self.levels.address(memory))

    def ladders_unsure(self) -> Floats:
        """Return for how many seconds from the start of each count the ladders' data are undefined."""
        return np.asarray(np.max([self.unsure[memory.name] for memory in self.board.driving_memories], axis=0))

    def _pass_through(self, memory: Memory, address: Ints) -> None:
        word = self.words[memory.name][address].astype(np.int64)
        clocked = is_clocked(self.board, memory)
        into = self.levels.counters[Signal.X] & hold_in_counts(self.board, memory) - 1
        taken = np.maximum(np.arange(self.column.size) - into - 1, 0)
        self.levels.put_out(memory, word[:, taken] if clocked else word)
        if self.timed:
            unsure = self._waiting(memory, address)
            if clocked:
                unsure = np.where(unsure[:, taken] > 1 / float(self.board.raster.clock), np.inf, 0.0)
            self.unsure[memory.name] = unsure

    def _waiting(self, memory: Memory, address: Ints) -> Floats:
        """Return the seconds until the word at each count's address is valid."""
        if memory.access is None:
            return np.zeros(self.shape)
        late = np.zeros(self.shape)
        changed = np.ones(self.shape, dtype=bool)
        changed[:, 1:] = address[:, 1:] != address[:, :-1]
        for source in map(self.board.memory, self.board.sources[memory.name]):
            late = np.maximum(late, self.unsure[source.name])
            if is_clocked(self.board, source):
                late[:, 1:] = np.maximum(late[:, 1:], REGISTER_DELAY * changed[:, 1:])
        start = np.where(changed | (late > 0), late + memory.access, 0.0)
        counts = np.arange(self.column.size)
        last = np.maximum.accumulate(np.where(start > 0, counts, 0), axis=1)
        passed = (counts - last) / float(self.board.raster.clock)
        return np.maximum(np.take_along_axis(start, last, axis=1) - passed, 0.0)
