"""The output folder: everything is written aside first and put in place at the end, so a failure changes nothing."""

from __future__ import annotations

import errno
import hashlib
import itertools
import os
import threading
import time
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from ladderlight.errors import BuildError, Fault
from ladderlight.storage.journal import (
    PRIVATE,
    Journal,
    begin,
    clear,
    is_begun,
    is_inside,
    leftovers,
    settle,
    unsettled,
)
from ladderlight.storage.locking import BusyError, locked
from ladderlight.storage.placing import edited_files, is_real_folder, plan
from ladderlight.storage.record import RECORD, Files, Owner, Record, claim, digest_of, files_below, refuse_another
from ladderlight.storage.stopping import held, worker_threads
from ladderlight.storage.writing import sync_file, sync_tree
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import Mark, mark_of

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future

NOTHING_REPLACED = "nothing was replaced"
IN_PLACE = "the new build is in place"
_BUILDING = f"{PRIVATE}/building.lock"  # held by a build from its first file to its last rename
_PLACING = f"{PRIVATE}/placing.lock"  # held alone while files change places, and shared while they are read
_BUILD_PATIENCE = 600.0  # seconds that a build waits for another one of the same folder
_PATIENCE = 30.0  # seconds to wait while another build puts its files in place

_LARGE = 1 << 20  # bytes; to flush a small file by itself takes as long as several at once
_FULL = (errno.ENOSPC, errno.EDQUOT)


@dataclass(kw_only=True)
class Staging:
    """A build that is not yet in place: the folder to write into.

    Once it is in place, ``edited`` has the files of the last build that were changed since, and where they are kept.
    """

    output: Path
    folder: Path
    aside: Executor
    """Flushes large files to disk while others are made."""
    edited: Mapping[Path, Path] = field(default_factory=dict)
    last: Files = field(default_factory=dict)
    """Files of the last build."""
    kept: list[Kept] = field(default_factory=list)
    written: dict[str, str] = field(default_factory=dict)
    """SHA-256 of what :meth:`write` has written."""
    flushed: list[Future[None]] = field(default_factory=list)
    _alone: threading.Lock = field(default_factory=threading.Lock)
    _ended: bool = False

    @contextmanager
    def writing(self, name: str) -> Iterator[BinaryIO]:
        """Yield a new file by its name relative to the output folder, in any thread.

        Raises BuildError when it cannot be written, would leave the folder, or comes after the end of the build.
        """
        if not is_inside(name):
            raise BuildError(f"a file may not be called {name!r}; keep it inside the output folder")
        with self._alone:
            if self._ended:
                raise BuildError(f"has ended before {name} was written", where=self.output)
            path = self.folder / name
            try:
                if not path.parent.is_dir():  # to try takes longer
                    path.parent.mkdir(parents=True, exist_ok=True)
                with path.open("wb") as file:
                    yield file
            except OSError as error:
                error.filename = None  # aside, in a folder that is gone when this is read
                raise unwritable(error, name) from error

    def write(self, name: str, data: bytes) -> str:
        """Write a new file as :meth:`writing` does; return its SHA-256."""
        with self.writing(name) as file:
            file.write(data)
        if len(data) >= _LARGE:
            self.flushed.append(self.aside.submit(sync_file, self.folder / name))
        digest = hashlib.sha256(data).hexdigest()
        self.written[name] = digest
        return digest

    @cached_property
    def _last_names(self) -> list[str]:
        return sorted(self.last)

    def end(self) -> None:
        """Let nothing more be written, not by threads either that a stop has left behind."""
        with self._alone:
            self._ended = True

    def keep(self, folders: Sequence[str], files: Mapping[str, str], marks: Mapping[str, Mark]) -> bool:
        """Let folders of the last build stay in place of new ones, with all that lies in them.

        ``folders`` are relative to the output folder; ``files`` are those that the new build would have in them, with
        their SHA-256, and ``marks`` what they were seen with. Returns whether the folders stay: not where the last
        build had other files there, or one has changed since, which is looked at again before the new build is put in
        place.
        """
        kept = Kept(folders=tuple(folders), files=files, marks=marks)
        names = self._last_names
        spans = ((bisect_left(names, f"{folder}/"), bisect_left(names, f"{folder}0")) for folder in folders)
        last = {name: self.last[name] for first, end in spans for name in names[first:end]}
        if stays := last == files and not kept.changed_in(self.output):
            self.kept.append(kept)
        return stays


class Kept(Frozen):
    """Folders of the last build that stay; see :meth:`Staging.keep`."""

    folders: tuple[str, ...]
    files: Mapping[str, str]
    marks: Mapping[str, Mark]

    def changed_in(self, output: Path) -> str | None:
        """Return a folder that is no longer as it was; None where all are."""
        links = (folder for folder in self.folders if not is_real_folder(output, folder))
        places = ((name, f"{output}/{name}", mark) for name, mark in self.marks.items())
        changed = (name for name, place, mark in places if mark_of(place, through_links=False) != mark)
        files = (each for name in changed for each in self.folders if name.startswith(f"{each}/"))
        return next(itertools.chain(links, files), None)


@contextmanager
def staged_output(output: Path, owner: Owner) -> Iterator[Staging]:
    """Yield a folder to write into; when the block ends without an error its entries replace those of the last build.

    Files in the output folder that no build has made stay, also in folders that a build has made. Files of the last
    build that the user has changed are kept in a folder ``edited``. A second build of the same folder waits for the
    first.

    Raises BuildError when the folder cannot be written, is not this recipe's, or has something else in place of a new
    file.
    """
    placed = False
    staging = None
    try:
        refuse_foreign(output, owner)
        with _building(output):
            try:
                with worker_threads(1) as aside:
                    with _writing(output):
                        staging = Staging(output=output, folder=begin(output), aside=aside, last=claim(output, owner))
                    yield staging
                    with _writing(output):
                        _complete(staging, owner.seen_from(output))
                with _holding(output, _PLACING, _PATIENCE):
                    with _writing(output):
                        journal = plan(output, claim(output, owner), _staying(staging))
                    with held():
                        _place(journal)
                        placed = True
                edited = edited_files(journal)
                staging.edited = {output / name: output / kept for name, kept in edited.items()}
            finally:
                if staging:
                    staging.end()
                clear(output)
    except KeyboardInterrupt as stop:
        stop.add_note(IN_PLACE if placed else NOTHING_REPLACED)
        raise


def refuse_foreign(output: Path, owner: Owner) -> None:
    """Check that a recipe may be built into a folder: that this loses nothing of anyone else's.

    Raises BuildError when it holds another recipe's build, or has entries of a build's names that no build has made.
    """
    with settled(output):
        claim(output, owner)


def output_faults(output: Path, owner: Owner, around: Path | None = None) -> list[Fault]:
    """Return why a recipe cannot be built into a folder, as far as it is known before anything is written.

    ``around`` is the folder around those of revisions, which may be that of another recipe as well.
    """
    try:
        if around is not None:
            refuse_another(around, owner)
        refuse_foreign(output, owner)
    except BuildError as error:
        return list(error.faults)
    around = next(path for path in (output, *output.parents) if os.path.lexists(path))
    if not os.path.isdir(around):  # noqa: PTH112 - Path's own raises where a folder cannot be read
        what = "is a file"
    elif not os.access(around, os.W_OK | os.X_OK):
        what = "cannot be written"
    else:
        return []
    return [Fault(where=str(around), message=f"{what}; choose another output folder")]


@contextmanager
def settled(output: Path) -> Iterator[None]:
    """Keep an output folder as it is while it is read, after finishing what a build that was killed had begun.

    Raises BuildError when that cannot be finished.
    """
    private = output / PRIVATE
    if private.is_symlink() or not private.is_dir():  # no build has ever begun here
        yield
        return
    end = time.monotonic() + _PATIENCE
    while True:
        _settle(output)
        with ExitStack() as locks:
            try:
                locks.enter_context(locked(output / _PLACING, shared=True, patience=_PATIENCE))
            except OSError:  # a folder that may only be read
                pass
            except BusyError:
                raise _busy(output) from None
            if not is_begun(output):  # or the build that held the lock was killed
                yield
                return
        if time.monotonic() > end:
            raise _busy(output)


def _settle(output: Path) -> None:
    """Finish what a build has left, unless it is still at work."""
    if not is_begun(output) and not leftovers(output):
        return
    try:
        with locked(output / _BUILDING), locked(output / _PLACING, patience=_PATIENCE), held():
            settle(output)
    except BusyError:
        pass
    except OSError as error:
        if is_begun(output):
            raise unsettled(output, error) from error


@contextmanager
def _building(output: Path) -> Iterator[None]:
    """Be the only build of a folder, which is made."""
    with _writing(output):
        (output / PRIVATE).mkdir(parents=True, exist_ok=True)
    with _holding(output, _BUILDING, _BUILD_PATIENCE):
        with _holding(output, _PLACING, _PATIENCE), _writing(output), held():
            settle(output)
        yield


@contextmanager
def _holding(output: Path, lock: str, patience: float) -> Iterator[None]:
    with ExitStack() as locks:
        try:
            with _writing(output):
                locks.enter_context(locked(output / lock, patience=patience))
        except BusyError:
            raise _busy(output) from None
        yield


@contextmanager
def _writing(output: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise unwritable(error, output) from error


def unwritable(error: OSError, where: object) -> BuildError:
    """Return the error for a file or folder of a build that the system does not let be written."""
    room = "make room or " if error.errno in _FULL else ""
    reason = _reason(error) if error.filename != str(where) else error.strerror
    return BuildError(
        f"cannot be written ({reason}); {room}choose another output folder; {NOTHING_REPLACED}", where=where
    )


def _busy(output: Path) -> BuildError:
    return BuildError("another build is at work here; run the command again when it has ended", where=output)


def _complete(staging: Staging, recipe: str) -> None:
    """Add the record to the new files, and flush them to disk."""
    new = staging.folder
    files = {name: staging.written.get(name) or digest_of(new / name) for name in files_below(new)}
    for kept in staging.kept:
        files |= kept.files
    (new / RECORD).write_bytes(Record(recipe=recipe, files=files).to_json())
    for each in staging.flushed:
        each.result()  # a system reports a fault of the disk but once
    sync_tree(new)


def _staying(staging: Staging) -> frozenset[str]:
    """Return the folders that stay. Raises BuildError when something in one has changed since it was looked at."""
    for kept in staging.kept:
        if folder := kept.changed_in(staging.output):
            message = f"was changed during the build; build again; {NOTHING_REPLACED}"
            raise BuildError(message, where=staging.output / folder)
    return frozenset(folder for kept in staging.kept for folder in kept.folders)


def _place(journal: Journal) -> None:
    try:
        journal.write()
        journal.finish()
    except OSError as error:
        journal.take_back(error)
        raise BuildError(
            f"the new files cannot be put in place ({_reason(error)}); {NOTHING_REPLACED}", where=journal.folder
        ) from error
    with suppress(OSError):  # the next process finds nothing left to do
        journal.close()


def _reason(error: OSError) -> str:
    return f"{error.filename}: {error.strerror}" if error.filename else str(error.strerror or error)
