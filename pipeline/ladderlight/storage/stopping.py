"""Ctrl-C and the signals that end a program: unwound alike, and held while files change places."""

from __future__ import annotations

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from types import FrameType
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor

Item = TypeVar("Item")
Result = TypeVar("Result")

_WORKER = "ladderlight worker"
_AHEAD = 4
_left = threading.Event()
_ENDING = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]  # Windows has no SIGHUP


class Stopped(KeyboardInterrupt):
    """A signal ended the program. Unwinds everything that Ctrl-C does."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number


class Stops:
    """The signal that ended the program, if one did, whatever became of its exception."""

    number: int | None = None

    @property
    def status(self) -> int:
        """Exit status of a program that was stopped: 128 and the signal's number, as shells have it."""
        return 128 + (self.number or signal.SIGINT)

    def _stop(self, number: int, _: FrameType | None) -> None:
        self.number = number
        raise Stopped(number)


@contextmanager
def unwinding() -> Iterator[Stops]:
    """Have SIGTERM and SIGHUP raise ``Stopped``. A signal that is ignored, as below ``nohup``, stays so."""
    stops = Stops()
    with ExitStack() as stack:
        if threading.current_thread() is threading.main_thread():
            for number in _ENDING:
                if signal.getsignal(number) is signal.SIG_DFL:
                    stack.callback(signal.signal, number, signal.SIG_DFL)
                    signal.signal(number, stops._stop)  # noqa: SLF001 - of its own class
        yield stops


@contextmanager
def held() -> Iterator[None]:
    """Hold back Ctrl-C, SIGTERM and SIGHUP until the block has ended.

    Python runs handlers in the main thread only, whichever thread gets the signal: a block in another thread is never
    interrupted, and blocking signals for one thread would not be enough in a program with several.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    waiting: list[int] = []
    with ExitStack() as stack:
        stack.callback(_raise, waiting)
        for number in (signal.SIGINT, *_ENDING):
            handler = signal.getsignal(number)
            if handler is not None and handler is not signal.SIG_IGN:  # None: set by something other than Python
                stack.callback(signal.signal, number, handler)
                signal.signal(number, lambda number, _: waiting.append(number))
        yield


def _raise(numbers: list[int]) -> None:
    for number in numbers:
        signal.raise_signal(number)


@contextmanager
def noting_stops(note: str) -> Iterator[None]:
    """Note on a stop within the block what has become of the user's files."""
    try:
        yield
    except KeyboardInterrupt as stop:
        stop.add_note(note)
        raise


@contextmanager
def worker_threads(count: int) -> Iterator[ThreadPoolExecutor]:
    """Yield a pool of threads. A stop does not wait for what they are at: a loop or a decoder cannot be interrupted.

    The process must then end by :func:`os._exit`, see :func:`workers_left`; Python itself would wait for them.
    """
    from concurrent.futures import ThreadPoolExecutor

    pool = ThreadPoolExecutor(max_workers=count, thread_name_prefix=_WORKER)
    wait = True
    try:
        yield pool
    except BaseException as error:
        wait = not isinstance(error, KeyboardInterrupt)
        raise
    finally:
        pool.shutdown(wait=wait, cancel_futures=True)


def side_by_side(call: Callable[[Item], Result], items: Iterable[Item], threads: int | None = None) -> list[Result]:
    """Return what a call gives for each item, worked out by threads; by default as many as there are processors."""
    count = threads or os.cpu_count() or 1
    found: list[Result] = []
    begun: deque[Future[Result]] = deque()  # of thousands of items, few are handed out at once: each takes 1 kB
    with worker_threads(count) as pool:
        for item in items:
            begun.append(pool.submit(call, item))
            if len(begun) > _AHEAD * count:
                found.append(begun.popleft().result())
        return found + [each.result() for each in begun]


def leave_behind() -> None:
    """Have the process end without waiting for the threads of a library; see :func:`workers_left`."""
    _left.set()


def workers_left() -> bool:
    """Whether threads are still at work that a stop did not wait for."""
    return _left.is_set() or any(thread.name.startswith(_WORKER) for thread in threading.enumerate())


@contextmanager
def deaf() -> Iterator[None]:
    """Keep Ctrl-C, which a terminal sends to all of a program's processes, from those that begin in the block.

    Threads that begin in it are deaf too, and so are the processes that these begin. Windows has no such thing.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing.resource_tracker import ensure_running

    ensure_running()  # beginning in the block with its first process, the tracker would unblock the signal
    before = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def stoppable(call: Callable[[], Result]) -> Result:
    """Return what a call does that may take long without heeding a stop; a stop leaves it behind in its thread."""
    with worker_threads(1) as pool:
        return pool.submit(call).result()
