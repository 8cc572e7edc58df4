"""Tasks on the workers of a cluster, by the library distributed.

Workers read files where they find the same content at the same path, and are sent the others. Each uses its own cache,
or that of this build where both have one folder. What they code goes into the cache of this build at once. A worker
that is lost costs its tasks, which others take.
"""

from __future__ import annotations

import os
import queue
import tempfile
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from itertools import count
from secrets import token_hex
from typing import Any, Protocol

import dask
from distributed import CancelledError, Client, KilledWorker, LocalCluster
from distributed.comm import CommClosedError

from ladderlight.engine.coded import CodedUnit
from ladderlight.engine.executors.job import Job
from ladderlight.engine.executors.local_cluster import kill, local_cluster, silence
from ladderlight.engine.executors.orders import Order, lost
from ladderlight.engine.executors.worker import Absent, Home, JobPlugin, work_out
from ladderlight.engine.work import Task, Work
from ladderlight.errors import BuildError, Fault, PictureError
from ladderlight.storage.output import NOTHING_REPLACED
from ladderlight.storage.stopping import leave_behind, noting_stops, stoppable
from ladderlight.storage.writing import read_regular
from ladderlight.system.versions import versions

LOCAL = "local"
_PATIENCE = 20.0  # seconds without any worker after which a build gives up
_ANSWER = 10.0  # seconds in which a scheduler has to answer
_AHEAD = 2  # tasks for each thread that are handed out at once: one that is worked on, and the next
_LONG = 0.4
"""Seconds of the processor up to which short tasks are sent as one: what is sent costs 10 ms here and 10 ms there."""
_SETTINGS = {
    "distributed.admin.large-graph-warning-threshold": "1GB",
    "distributed.deploy.lost-worker-timeout": "24h",
}
"""The library looks after that time whether a local worker that ended is there again. One that has ended a second time
and is just starting again it would give up for good."""
_COMPARED = ("ladderlight", "numba", "numpy")
_VERSIONS = (
    f"{{name: getattr(__import__(name), '__version__', 'unknown') if __import__('importlib.util').util.find_spec(name)"
    f" else 'missing' for name in {_COMPARED}}}"
)
"""An expression for the versions of a worker: of Ladderlight, a worker may have another one or none."""


_Numbers = tuple[int, ...]  # of tasks that are sent as one


class _Future(Protocol):
    """A task on its way, as the library has it."""

    key: str
    status: str

    def result(self, timeout: float) -> tuple[Sequence[object], float]: ...
    def add_done_callback(self, call: Callable[[_Future], None]) -> None: ...


class _Client(Protocol):
    """The connection to a scheduler."""

    status: str

    def submit(self, call: Callable[..., object], *values: object, key: str, pure: bool) -> _Future: ...
    def cancel(self, futures: Sequence[_Future], *, force: bool) -> None: ...
    def register_plugin(self, plugin: JobPlugin) -> None: ...
    def unregister_worker_plugin(self, name: str) -> None: ...
    def nthreads(self) -> Mapping[str, int]: ...
    def get_events(self, topic: str) -> Sequence[tuple[float, Mapping[str, Any]]]: ...


@contextmanager
def on_cluster(address: str, workers: int | None = None) -> Iterator[Cluster]:
    """Yield an executor of the scheduler at ``address``, as ``tcp://host:8786``.

    ``"local"`` starts one here, with ``workers`` of its own, by default as many as there are processors.

    Raises BuildError when nothing answers there, there is no worker, or one has another version of what computes.
    """
    with ExitStack() as stack:
        stack.enter_context(dask.config.set(_SETTINGS))
        silence()
        local = folder = None
        try:
            with noting_stops(NOTHING_REPLACED):
                if address == LOCAL:
                    # Of this process, since workers that are killed leave what they have in theirs.
                    folder = tempfile.TemporaryDirectory(prefix="ladderlight-", ignore_cleanup_errors=True)
                    stack.callback(folder.cleanup)
                    local = stoppable(partial(local_cluster, workers or os.cpu_count() or 1, folder.name))
                    stack.enter_context(local)
                    address = local.scheduler_address
                client = stack.enter_context(_client(address))
            yield Cluster(client, local)
            stack.close()  # here, since a stop of that leaves a cluster behind too
        except KeyboardInterrupt:
            if folder is not None:  # the library would wait for what the workers are at
                stack.pop_all()
                leave_behind()
                kill(local)
                folder.cleanup()
            raise


def _client(address: str) -> Client:
    """Connect to a scheduler that has workers which compute the same.

    Raises BuildError as :func:`on_cluster`.
    """
    try:
        client = Client(address, timeout=_ANSWER, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        message = "no scheduler answers there; start one with: dask scheduler, or use --cluster local"
        raise BuildError(message, where=f"--cluster {address}") from error
    try:
        client.wait_for_workers(1, timeout=_PATIENCE)
        _refuse_others(client)
    except TimeoutError as error:
        client.close()
        message = f"the scheduler has no workers; start some with: dask worker {address}"
        raise BuildError(message, where=f"--cluster {address}") from error
    except BuildError:
        client.close()
        raise
    return client


class Cluster:
    """Workers of a cluster; see :class:`ladderlight.engine.executors.Executor`."""

    def __init__(self, client: _Client, local: LocalCluster | None = None) -> None:
        """Take the connection, and the cluster if it was started for this build."""
        self._client, self._local = client, local
        self._pace = _Pace()

    def run(self, work: Work, tasks: Sequence[Task]) -> Iterator[object]:
        """Yield the results; see :class:`ladderlight.engine.executors.Executor`."""
        round_ = _Round(self._client, work, self._pace)
        told = True  # while there is somebody to tell
        try:
            yield from round_.results(tasks)
        except KeyboardInterrupt:
            told = not self._local
            raise
        except Exception as error:
            told = self._client.status == "running" and not isinstance(error, CommClosedError | CancelledError)
            if told:
                raise
            kept = " (finished pictures are in the cache)" if work.cache.lasting else ""
            message = f"the scheduler was lost and {NOTHING_REPLACED}; start it and its workers again, then build again"
            raise BuildError(message + kept, where="--cluster") from error
        finally:
            round_.end(told=told)


class _Pace:
    """How many tasks workers have done, and how many seconds of the processor these took, earlier builds included."""

    tasks = 0
    seconds = 0.0


class _Round:
    def __init__(self, client: _Client, work: Work, pace: _Pace) -> None:
        self._client, self._work, self._pace = client, work, pace
        self._name = token_hex(8)
        self._token = work.cache.folder / f".part-{self._name}"
        self._plugin: JobPlugin | None = None
        self._digest = ""
        self._sends = False
        """Whether contents of files are sent at once, as some worker did not find one."""
        self._answers: queue.SimpleQueue[tuple[_Numbers, _Future]] = queue.SimpleQueue()
        self._begun: dict[_Numbers, _Future] = {}
        self._tried: Counter[int] = Counter()
        self._serials = count()
        self._alone_since: float | None = None

    def results(self, tasks: Sequence[Task]) -> Iterator[object]:
        """Yield the results in the order of the tasks."""
        waiting, suspects = deque(range(len(tasks))), deque[int]()
        done: dict[int, object] = {}
        ahead, turn = max(1, self._ahead()), 0
        while turn < len(tasks):
            if turn in done:
                yield done.pop(turn)
                turn += 1
                continue
            while waiting and len(self._begun) < ahead:
                together: list[int] = []
                size = self._size(len(waiting), ahead)
                while waiting and len(together) < size:
                    number = waiting.popleft()
                    # Files made ready lie in the cache of one worker, and the animation is coded by another.
                    known = self._work.sought(tasks[number])
                    if isinstance(known, CodedUnit) or known.ready is not None:
                        done[number] = known
                    else:
                        together.append(number)
                self._begin(tuple(together), tasks)
            if suspects and not waiting and not self._begun:  # with nothing beside it that could be to blame
                self._begin((suspects.popleft(),), tasks)
            if turn in done:
                continue
            numbers, future = self._answer(tasks)
            ahead = max(1, self._ahead()) if any(number % 32 == 0 for number in numbers) else ahead
            try:
                results, seconds = future.result(timeout=_ANSWER)
            except TimeoutError:  # the worker that had it was lost, and another one has to work it out
                self._await(numbers, future)
                self._check_workers(tasks)
                continue
            except KilledWorker:
                if self._tried[numbers[0]] > 1 and not self._begun:  # then it was alone
                    done[numbers[0]] = lost(tasks[numbers[0]])
                else:
                    suspects += numbers
                continue
            self._pace.tasks += len(numbers)
            self._pace.seconds += seconds
            for number, found in zip(numbers, results, strict=True):
                if isinstance(found, Absent):
                    self._sends = True
                    done |= self._send(number, tasks)
                else:
                    done[number] = self._taken(tasks[number], found)

    def end(self, *, told: bool = True) -> None:
        """Give up what has not begun, and have the workers forget the job, unless they end with it."""
        with suppress(OSError):
            self._token.unlink()
        if not told:
            return
        with suppress(Exception):  # the scheduler may be gone
            self._client.cancel(list(self._begun.values()), force=True)
            if self._plugin is not None:
                self._client.unregister_worker_plugin(self._plugin.name)

    def _size(self, left: int, ahead: int) -> int:
        """Return how many tasks are sent as one: few at the end, one at first, and where contents go with them."""
        tasks, seconds = self._pace.tasks, self._pace.seconds
        most = int(_LONG * tasks / max(seconds, 1e-6)) if not self._sends else 1
        return max(1, min(most, -(-left // ahead)))

    def _begin(self, numbers: _Numbers, tasks: Sequence[Task], sent: Mapping[int, bytes] | None = None) -> None:
        if not numbers:
            return
        if self._plugin is None:
            self._offer()
        orders = [Order.of(tasks[number], self._work.plan.numbers) for number in numbers]
        if sent is None and self._sends:
            sent = _contents(orders[0], tasks[numbers[0]])
        self._tried.update(numbers)
        key = f"ladderlight-{self._name}-{numbers[0]}-{next(self._serials)}"
        future = self._client.submit(work_out, self._digest, orders, sent or {}, key=key, pure=False)
        self._await(numbers, future)

    def _await(self, numbers: _Numbers, future: _Future) -> None:
        """Have an answer come when the tasks are done."""
        self._begun[numbers] = future
        future.add_done_callback(lambda done: self._answers.put((numbers, done)))

    def _send(self, number: int, tasks: Sequence[Task]) -> dict[int, object]:
        """Send a task with the contents of its files. Where they cannot be read here either, work it out here."""
        self._tried[number] -= 1
        task = tasks[number]
        sent = _contents(Order.of(task, self._work.plan.numbers), task)
        if len(sent) == len(task.unit.files):
            self._begin((number,), tasks, sent)
            return {}
        try:
            return {number: self._work.run(task)}
        except PictureError as error:
            return {number: error}

    def _taken(self, task: Task, found: object) -> object:
        """Take a result out of memory; name files by themselves."""
        if isinstance(found, CodedUnit) and not found.place:
            return self._work.keep(task.unit, found)
        if isinstance(found, dict):
            return {task.unit.files[place]: each for place, each in found.items()}
        return found

    def _offer(self) -> None:
        """Give the job to the workers."""
        cache = self._work.cache
        with suppress(OSError):  # then no worker shares the cache
            cache.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._token.touch()
        job = Job.of(self._work)
        self._digest = f"{self._name}-{job.digest}"
        home = Home(folder=str(cache.folder), room=cache.room, token=self._token.name, lasting=cache.lasting)
        self._plugin = JobPlugin(self._digest, job.data, home)
        self._client.register_plugin(self._plugin)

    def _answer(self, tasks: Sequence[Task]) -> tuple[_Numbers, _Future]:
        """Wait for an answer while there are workers.

        Raises BuildError when all workers are lost.
        """
        while True:
            try:
                numbers, future = self._answers.get(timeout=1.0)
            except queue.Empty:
                self._check_workers(tasks)
                continue
            del self._begun[numbers]
            if future.status == "lost":  # with its worker, when it was done; another one has to work it out
                self._await(numbers, future)
                self._check_workers(tasks)
                continue
            return numbers, future

    def _check_workers(self, tasks: Sequence[Task]) -> None:
        if self._ahead():
            self._alone_since = None
        elif self._alone_since is None:
            self._alone_since = time.monotonic()
        elif time.monotonic() - self._alone_since > _PATIENCE:
            raise BuildError.of(self._blamed(tasks)) from None

    def _ahead(self) -> int:
        """Return how many tasks are handed out at once; none without workers."""
        if self._client.status != "running":  # to ask would take ten seconds
            raise CommClosedError
        return _AHEAD * sum(self._client.nthreads().values())

    def _blamed(self, tasks: Sequence[Task]) -> Iterator[Fault]:
        """Yield the faults of the pictures that were at work when most workers were lost."""
        deaths: Counter[str] = Counter()
        for _, event in self._client.get_events("all"):
            if event.get("action") == "remove-worker" and not event.get("expected"):
                deaths.update(event.get("processing-tasks", ()))
        counts = {number: deaths[future.key] for numbers, future in self._begun.items() for number in numbers}
        most = max(counts.values(), default=0)
        yield Fault(where="--cluster", message="no workers are left; start some, then build again")
        for number in sorted(number for number, times in counts.items() if times == most and most):
            message = f"was at work when {most} worker{'s' * (most > 1)} ended; leave it out if that happens again"
            yield from (Fault(where=file.source, message=message) for file in tasks[number].unit.files)


def _contents(order: Order, task: Task) -> dict[int, bytes]:
    found = {}
    for number, file in zip(order.files, task.unit.files, strict=True):
        with suppress(OSError):
            found[number] = read_regular(file.path)
    return found


def _refuse_others(client: Client) -> None:
    """Check the versions of all workers.

    Raises BuildError with one line for each worker that has another.
    """
    here = versions()
    faults = []
    answers: Mapping[str, object] = client.run(eval, _VERSIONS, on_error="return")
    for worker, found in answers.items():
        there = found if isinstance(found, dict) else dict.fromkeys(_COMPARED, "unknown")
        other = [f"{name} {there[name]}, here {here[name]}" for name in _COMPARED if there[name] != here[name]]
        if other:
            message = f"has {' and '.join(other)}; install the same versions there"
            faults.append(Fault(where=f"worker {worker}", message=message))
    if faults:
        raise BuildError.of(faults)
