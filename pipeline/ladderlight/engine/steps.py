"""Counting what is done of a build."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ladderlight.engine.plan import Unit
from ladderlight.errors import Fault

Progress = Callable[[int, int, str], None]
"""Called with how many pictures are done, how many there are, and the source of the one just done.

A stage that looks at all pictures first makes each count twice.
"""

Refused = Callable[[Fault], None]
"""Called with what is wrong with a picture as soon as that is known."""


@dataclass(kw_only=True)
class Steps:
    """Counts the files that are done."""

    count: int
    progress: Progress | None
    done: int = 0

    def finish(self, unit: Unit) -> None:
        """Count the files of a unit."""
        for file in unit.files:
            self.done += 1
            if self.progress:
                self.progress(self.done, self.count, file.source)
