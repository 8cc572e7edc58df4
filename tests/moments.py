"""Undefined moments of a board at work, which the page's scripts find too."""

from __future__ import annotations

import numpy as np

from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.playback import Stretch, play
from ladderlight.board.scanning.timing import REGISTER_DELAY, hold_in_counts, is_clocked


def undefined_times(board, words, bank=0, lines=None):
    """For how many seconds of each count that the monitor shows the ladders' data are undefined: (lines, counts)."""
    stretch = Stretch(board, words, bank, before=1, lines=lines)
    return np.minimum(stretch.ladders_unsure()[:, stretch.first :], float(1 / board.raster.clock))


def disturbed(board, words, bank=0):
    """Where something else than the old or the new colour is to be seen: undefined, and the code changes.

    A monitor pixel shows the last word that began before its middle; that may be the same as the word before it.
    """
    stretch = Stretch(board, words, bank, before=2)
    codes, period = stretch.levels.codes(), float(1 / board.raster.clock)
    fresh = np.any([_fresh(stretch, memory) for memory in board.driving_memories], axis=0)
    last = np.maximum.accumulate(np.where(fresh, np.arange(fresh.shape[1]), 0), axis=1)
    direct = any(memory.output == "direct" for memory in board.driving_memories)
    passed = (np.arange(board.raster.mode.horizontal.active) + 0.5) * float(board.raster.ratio)
    late = board.counters.delay if direct else 0.0
    counts = np.floor((passed * period - late) / period).astype(np.int64)
    at = last[:, np.minimum(counts, board.raster.x.visible - 1) + stretch.first]
    changes = np.take_along_axis(codes, at, axis=1) != np.take_along_axis(codes, np.maximum(at - 1, 0), axis=1)
    return play(board, words, bank).undefined & changes & (passed < board.raster.x.visible)


def _fresh(stretch, memory):
    """Where an access to a memory begins, or its register's new word."""
    board = stretch.board
    if is_clocked(board, memory):
        begins = stretch.levels.counters[Signal.X] & hold_in_counts(board, memory) - 1 == 0
        return np.broadcast_to(begins, stretch.shape)
    address = stretch.levels.address(memory)
    changed = np.ones(stretch.shape, dtype=bool)
    changed[:, 1:] = address[:, 1:] != address[:, :-1]
    late = np.zeros(stretch.shape)
    for source in map(board.memory, board.sources[memory.name]):
        late = np.maximum(late, stretch.unsure[source.name])
        if is_clocked(board, source):
            late[:, 1:] = np.maximum(late[:, 1:], REGISTER_DELAY * changed[:, 1:])
    return changed | (late > 0)
