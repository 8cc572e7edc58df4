"""Tasks on a pool of threads."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from ladderlight.engine.work import Task, Work
from ladderlight.errors import PictureError
from ladderlight.storage.stopping import worker_threads


@dataclass(frozen=True, kw_only=True)
class Threads:
    """Threads of this process; as many as it has processors, if no number is given."""

    workers: int | None = None

    def run(self, work: Work, tasks: Sequence[Task]) -> Iterator[Any]:
        """Yield the results; see :class:`ladderlight.engine.executors.Executor`."""
        workers = self.workers or os.cpu_count() or 1
        # An animation of several files has its frames reduced by the pool. It waits for them, and so is not in there.
        with worker_threads(workers) as waiting, worker_threads(workers) as pool:
            futures = [
                waiting.submit(work.run, task, pool.submit) if task.spreads else pool.submit(work.run, task)
                for task in tasks
            ]
            for future in futures:
                try:
                    yield future.result()
                except PictureError as error:
                    yield error
