"""Tasks on a pool of threads."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from ladderlight.engine.work import Task, Work
from ladderlight.errors import PictureError


@dataclass(frozen=True, kw_only=True)
class Threads:
    """Threads of this process; as many as it has processors, if no number is given."""

    workers: int | None = None

    def run(self, work: Work, tasks: Sequence[Task]) -> Iterator[Any]:
        """Yield the results; see :class:`ladderlight.engine.executors.Executor`."""
        workers = self.workers or os.cpu_count() or 1
        pool = ThreadPoolExecutor(max_workers=workers)
        # An animation of several files has its frames reduced by the pool. It waits for them, and so is not in there.
        waiting = ThreadPoolExecutor(max_workers=workers)
        try:
            futures = [
                waiting.submit(work.run, task, pool.submit) if task.spreads else pool.submit(work.run, task)
                for task in tasks
            ]
            for future in futures:
                try:
                    yield future.result()
                except PictureError as error:
                    yield error
        finally:
            waiting.shutdown(wait=False, cancel_futures=True)
            pool.shutdown(cancel_futures=True)
            waiting.shutdown()
