"""Findings about speed: whether each memory's word is there before the next one is asked for."""

from __future__ import annotations

from collections.abc import Iterator

from ladderlight.board.board import Board
from ladderlight.board.findings import Finding
from ladderlight.board.quantities import nanoseconds
from ladderlight.board.timing import timings


def findings(board: Board) -> Iterator[Finding]:
    """Say which memories are too slow, and which have no access time given."""
    for timing in timings(board).values():
        where = f"memory {timing.memory}"
        memory = board.memory(timing.memory)
        if memory.access is None:
            yield Finding(
                level="note",
                where=where,
                message=f"no access time is given, so that its timing stays unchecked; a word is held "
                f'{nanoseconds(timing.hold)}: set access = "... ns" from the datasheet',
            )
        elif timing.margin is not None and timing.margin < 0:
            late = f"its word comes {nanoseconds(-timing.margin)} after the next one is asked for "
            sums = f"({nanoseconds(timing.arrival or 0)} against {nanoseconds(timing.hold)})"
            yield Finding(
                level="error" if memory.output == "register" else "caution",
                where=where,
                message=f"{late}{sums}; use a faster grade or leave out the lowest x bit",
            )
