"""Tasks on a pool of processes of this machine, where plugins hold Python's lock."""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import threading
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import lru_cache
from multiprocessing import connection, get_context, parent_process
from pathlib import Path
from typing import Any

from ladderlight.cache.store import Cache
from ladderlight.engine.coded import CodedUnit
from ladderlight.engine.executors.job import Job, Opened
from ladderlight.engine.executors.orders import Order, lost
from ladderlight.engine.work import Task, Work, at_once
from ladderlight.errors import PictureError
from ladderlight.storage.stopping import deaf
from ladderlight.system.memory import share_memory

_AHEAD = 4  # how many tasks for each worker are handed out beyond the one that is waited for


@contextmanager
def on_processes(workers: int | None = None) -> Iterator[Processes]:
    """Yield an executor; its processes start with the first task and end with the block, or with this process."""
    executor = Processes(workers or os.cpu_count() or 1)
    try:
        yield executor
    except BaseException as error:
        executor.end(kill=isinstance(error, KeyboardInterrupt))
        raise
    executor.end()


class Processes:
    """Processes of this machine; see :class:`ladderlight.engine.executors.Executor`."""

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._pool: ProcessPoolExecutor | None = None

    def run(self, work: Work, tasks: Sequence[Task]) -> Iterator[Any]:
        """Yield the results; see :class:`ladderlight.engine.executors.Executor`.

        A task in which a process ends is tried again with nothing beside it. If that ends a process too, it is an
        error of its pictures.
        """
        numbers = work.plan.numbers
        spare = work.spare or Cache.for_spare()
        waiting = deque(tasks)
        begun: deque[tuple[Task, Future[Any]]] = deque()
        with tempfile.TemporaryDirectory(prefix="ladderlight-", ignore_cleanup_errors=True) as folder:
            path = Path(folder, "job")

            def begin(task: Task) -> Future[Any]:
                found = work.sought(task)
                if isinstance(found, CodedUnit):
                    return at_once(lambda: found)
                if not path.exists():
                    path.write_bytes(Job.of(work).data)
                return self._submit(path, work.cache.folder, work.cache.room, spare.folder, Order.of(task, numbers))

            while waiting or begun:
                while waiting and len(begun) < _AHEAD * self._workers:
                    if any(future.done() and _broke(future) for _, future in begun):
                        break
                    task = waiting.popleft()
                    begun.append((task, begin(task)))
                task, future = begun.popleft()
                if _broke(future):  # what is begun has ended too: this runs alone
                    self.end()
                    future = begin(task)
                    if _broke(future):
                        self.end()
                        yield lost(task)
                        continue
                yield future.result()

    def end(self, *, kill: bool = False) -> None:
        """End the processes, if there are any, now or after what they are at; others start with the next task."""
        pool, self._pool = self._pool, None
        if pool is None:
            return
        running = list((pool._processes or {}).values()) if kill else []  # noqa: SLF001 - public from Python 3.14 on
        for process in running:
            process.kill()
        pool.shutdown(wait=not kill, cancel_futures=True)

    def _submit(self, *arguments: Any) -> Future[Any]:
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self._workers, mp_context=get_context("spawn"), initializer=_follow)
        try:
            with deaf():
                return self._pool.submit(_work_out, *arguments)
        except BrokenProcessPool as error:
            broken: Future[Any] = Future()
            broken.set_exception(error)
            return broken


def _broke(future: Future[Any]) -> bool:
    """Wait for a task; return whether its process has ended."""
    return isinstance(future.exception(), BrokenProcessPool)


def _follow() -> None:
    """Leave Ctrl-C to the parent, and end with it; keep memory for the next picture."""
    share_memory()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_after, args=(parent.sentinel,), daemon=True).start()


def _end_after(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)


def _work_out(path: Path, folder: Path, room: int, spare: Path, order: Order) -> Any:
    """Work out a task in another process; an error of pictures is a result."""
    work = _opened(path, folder, room, spare).work
    try:
        return work.run(order.task(work.plan.recipe.files))
    except PictureError as error:
        return error


@lru_cache(maxsize=2)
def _opened(path: Path, folder: Path, room: int, spare: Path) -> Opened:
    return Opened.of(path.read_bytes(), Cache(folder, room=room), Cache(spare, room=sys.maxsize))
