"""Findings about the counters' readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from ladderlight.board.model.board import Board
from ladderlight.board.model.findings import Finding


def findings(board: Board) -> Iterator[Finding]:
    """Yield what is assumed of a counter that does not begin at 0 with the picture."""
    for name, counter in (("x", board.x_counter), ("y", board.y_counter)):
        spare = counter.counts.total - counter.counts.visible
        if counter.reset is None and 0 < counter.start <= spare:
            cleared = replace(counter, reset=0)
            yield Finding(
                level="note",
                where="counters",
                message=f"the {name} counter is taken to be preset to {counter.start} at the first visible place, so "
                f"sync begins at {counter.sync_start}; set {name}_reset = 0 if it is reset to 0 after "
                f"{cleared.last} and sync begins at {cleared.sync_start}",
            )
