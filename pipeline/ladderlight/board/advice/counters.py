"""Findings about the counters' readings."""

from collections.abc import Iterator
from dataclasses import replace

from ladderlight.board.model.board import Board
from ladderlight.board.model.counter import Counter
from ladderlight.board.model.findings import Finding


def findings(board: Board) -> Iterator[Finding]:
    """Yield what is assumed of a counter that does not begin at 0 with the picture."""
    for name, counter in (("x", board.x_counter), ("y", board.y_counter)):
        spare = counter.counts.total - counter.counts.visible
        if counter.reset is None and 0 < counter.start <= spare:
            cleared = replace(counter, reset=0)
            now, then = _differing(counter, cleared)
            yield Finding.note(
                "counters",
                f"the {name} counter is taken to be preset to {counter.start} at the first visible place, so "
                f"{now}; set {name}_reset = 0 if it is reset to 0 after {cleared.last}{then}",
            )


def _differing(preset: Counter, cleared: Counter) -> tuple[str, str]:
    """Return what begins at another reading in the one than in the other; the last reading always differs."""
    for part, one, other in (
        ("sync", preset.sync_start, cleared.sync_start),
        ("the back porch", preset.sync_end, cleared.sync_end),
    ):
        if one != other:
            return f"{part} begins at {one}", f" and {part} begins at {other}"
    return f"its last count is {preset.last}", ""
