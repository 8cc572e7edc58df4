"""Tasks on a pool of threads."""

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from functools import partial
from itertools import islice
from queue import SimpleQueue
from typing import Any

from ladderlight.engine.coded import CodedUnit
from ladderlight.engine.work import Task, Work, at_once
from ladderlight.errors import PictureError
from ladderlight.storage.stopping import worker_threads
from ladderlight.system.frozen import Frozen

_AHEAD = 4  # tasks for each thread that are handed out at once


class Threads(Frozen):
    """Threads of this process; as many as it has processors, if no number is given."""

    workers: int | None = None

    def run(self, work: Work, tasks: Sequence[Task]) -> Iterator[Any]:
        """Yield the results; see :class:`ladderlight.engine.executors.Executor`."""
        workers = self.workers or os.cpu_count() or 1
        # An animation of several files has its frames reduced by the pool. It waits for them, and so is not in there.
        with worker_threads(workers) as waiting, worker_threads(workers) as pool:

            def begin(task: Task) -> Future[Any]:
                found = work.sought(task)  # here, since a thread would cost more than the look
                if isinstance(found, CodedUnit):
                    return at_once(lambda: found)
                return waiting.submit(work.run, found, pool.submit) if found.spreads else pool.submit(work.run, found)

            # Handed out bit by bit: what waits takes a kilobyte a task.
            rest, ended = enumerate(tasks), SimpleQueue[tuple[int, Future[Any]]]()
            done: dict[int, Future[Any]] = {}

            def begin_some(count: int) -> None:
                for number, task in islice(rest, count):
                    begin(task).add_done_callback(partial(_put, ended, number))

            begin_some(_AHEAD * workers)
            for turn in range(len(tasks)):
                while turn not in done:
                    number, done[number] = ended.get()
                    begin_some(1)
                try:
                    yield done.pop(turn).result()
                except PictureError as error:
                    yield error


def _put(ended: SimpleQueue[tuple[int, Future[Any]]], number: int, future: Future[Any]) -> None:
    ended.put((number, future))
