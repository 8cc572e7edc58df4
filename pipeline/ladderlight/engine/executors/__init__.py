"""Where the tasks of a plan are worked out: each module has one way, all of them give the same results."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Protocol

from ladderlight.engine.work import Task, Work


class Executor(Protocol):
    """Works out tasks that do not need each other's results."""

    def run(self, work: Work, tasks: Sequence[Task]) -> Iterator[Any]:
        """Yield the result of each task, in the order of the tasks, or the ``PictureError`` in its place.

        Whatever else a task raises is raised here. Tasks that have not begun are given up then, and when the iterator
        is closed.
        """
        ...
