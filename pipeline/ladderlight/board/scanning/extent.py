"""How a picture lies in a memory: the stride between its rows, its last word, how many words it uses."""

import numpy as np

from ladderlight.board.model.board import Board
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.scan import addresses, is_direct
from ladderlight.board.scanning.timing_lines import timing_addresses
from ladderlight.system.frozen import Frozen


class Extent(Frozen):
    """How the picture of bank 0 lies in a memory.

    ``stride`` is the number of words from one picture row to the next, None when it is not the same everywhere.
    ``last`` is the highest address that the visible scan reads, ``used`` how many it reads.
    Words for timing lines count as well, those that are read during blanking included.
    """

    stride: int | None
    last: int
    used: int


def extent_of(board: Board, memory: Memory) -> Extent | None:
    """Return the extent of a directly addressed memory; None for one that another memory addresses."""
    if not is_direct(board, memory):
        return None
    place, _ = addresses(board, memory, board.x_grid.samples[None, :], board.y_grid.samples[:, None], 0)
    shows = memory in board.picture_memories
    steps = np.diff(place, axis=0)
    marked = np.zeros(memory.words, dtype=np.bool_)
    marked[timing_addresses(board, memory)] = True
    if shows:
        marked[place] = True
    read = np.flatnonzero(marked)
    return Extent(
        stride=int(steps[0, 0]) if shows and steps.size and (steps == steps[0, 0]).all() else None,
        last=int(read[-1]),
        used=len(read),
    )
