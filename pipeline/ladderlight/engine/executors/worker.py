"""What a worker of a cluster does: opens jobs, finds or receives files, works out tasks."""

import hashlib
import os
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Condition
from typing import Any, cast

from distributed import Worker, WorkerPlugin, get_worker

from ladderlight.cache.marks import Seen
from ladderlight.cache.store import Cache
from ladderlight.engine.coded import CodedUnit
from ladderlight.engine.executors.job import Opened
from ladderlight.engine.executors.orders import Order
from ladderlight.engine.work import Work
from ladderlight.errors import BuildError, Fault, PictureError
from ladderlight.recipe import PictureFile
from ladderlight.system.frozen import Frozen
from ladderlight.system.memory import share_memory


@dataclass(frozen=True)
class Absent:
    """The numbers of files that a worker does not find, or finds with another content."""

    files: tuple[int, ...]


class Home(Frozen):
    """The cache of the build, which a worker uses too if it finds the file ``token`` in its folder."""

    folder: str
    room: int
    token: str
    lasting: bool

    @property
    def is_here(self) -> bool:
        """Whether this process sees the folder."""
        return os.path.exists(os.path.join(self.folder, self.token))  # noqa: PTH110, PTH118 - of another system maybe


class JobPlugin(WorkerPlugin):  # type: ignore[misc]
    """Gives a job to every worker, to those that join later too."""

    def __init__(self, digest: str, data: bytes, home: Home) -> None:
        self.name = f"ladderlight-{digest}"
        self._digest, self._offer = digest, (data, home)

    def setup(self, worker: Worker) -> None:  # noqa: ARG002 - all workers of a process share what is offered
        """Offer the job."""
        share_memory()
        _offers[self._digest] = self._offer

    def teardown(self, worker: Worker) -> None:  # noqa: ARG002
        """Forget the job."""
        _offers.pop(self._digest, None)
        with _changed:
            _open.pop(self._digest, None)


_offers: dict[str, tuple[bytes, Home]] = {}
_open: dict[str, tuple[Opened, Home, tempfile.TemporaryDirectory[str]]] = {}
_at_work: Counter[str] = Counter()
_changed = Condition()


def work_out(digest: str, orders: Sequence[Order], sent: Mapping[int, bytes]) -> tuple[list[Any], float]:
    """Work out tasks of a job, one after another; ``sent`` are contents of files, by their numbers.

    Returns
    -------
    The result of each, and how many seconds of the processor all have taken. A result is coded pictures, in memory
    unless they are in the cache of the build; or what a survey has seen by the places of the files in the task; or
    :class:`Absent`, or a :class:`PictureError`.
    """
    began = time.thread_time()
    return [_worked_out(digest, order, sent) for order in orders], time.thread_time() - began


def _worked_out(digest: str, order: Order, sent: Mapping[int, bytes]) -> Any:
    with _job(digest) as (opened, home), tempfile.TemporaryDirectory(prefix="ladderlight-") as folder:
        work = opened.work
        files = work.plan.recipe.files
        task = order.task(files)
        places: dict[PictureFile, Path] = {}
        absent = []
        for number in order.files:
            place = _placed(work, number, sent.get(number), Path(folder))
            if place is None:
                absent.append(number)
            else:
                places[files[number]] = place
        if absent:
            return Absent(tuple(absent))
        try:
            found = replace(work, places=places).run(task)
            if isinstance(found, CodedUnit):
                shared = found.place and home.is_here and Path(found.place).is_relative_to(home.folder)
                return found if shared else found.with_codes()
        except PictureError as error:
            return error
        return {task.unit.files.index(file): each for file, each in found.items()}


@contextmanager
def _job(digest: str) -> Iterator[tuple[Opened, Home]]:
    """Open a job, and hold off others which may have modules of the same names."""
    with _changed:
        while digest not in _open:
            others = [other for other, (opened, *_) in _open.items() if opened.has_modules]
            if any(_at_work[other] for other in others):
                _changed.wait()
                continue
            for other in others:
                del _open[other]
            _open[digest] = _opened(digest)
        opened, home, _ = _open[digest]
        _at_work[digest] += 1
    try:
        yield opened, home
    finally:
        with _changed:
            _at_work[digest] -= 1
            _changed.notify_all()


def _opened(digest: str) -> tuple[Opened, Home, tempfile.TemporaryDirectory[str]]:
    data, home = _offers[digest]
    cache = Cache(Path(home.folder), room=home.room) if home.is_here else Cache.of_user() if home.lasting else None
    folder = tempfile.TemporaryDirectory(prefix="ladderlight-", ignore_cleanup_errors=True)
    try:
        return Opened.of(data, cache or Cache.for_one_build(), Cache.for_spare(), Path(folder.name)), home, folder
    except BuildError as error:
        where = f"worker {get_worker().address}"
        raise BuildError.of(Fault(where=where, message=fault.message) for fault in error.faults) from None


def _placed(work: Work, number: int, data: bytes | None, folder: Path) -> Path | None:
    """Return where a file is, with the content that the build has seen; None if it is nowhere."""
    file = work.plan.recipe.files[number]
    seen = cast("dict[str, Seen]", work.plan.seen)  # the job's own
    known = seen.get(file.source)
    path = file.path
    if data is not None:
        path = folder / f"{number}{file.path.suffix}"
        path.write_bytes(data)
        if known is not None and hashlib.sha256(data).hexdigest() != known.sha256:
            seen.pop(file.source)  # changed since: its results are good for this build alone
            return path
    try:
        if known is None:
            return path if path.is_file() else None
        if not known.is_surely(path):
            here = Seen.now(path)
            if here.sha256 != known.sha256:
                return None
            seen[file.source] = here
    except OSError:
        return None
    return path
