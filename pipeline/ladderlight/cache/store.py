"""The cache: entries by key in a folder that stays within its room; what was used longest ago goes first.

Whatever fails here is as if there were no cache: no error reaches the user. Entries are written aside and renamed into
place, so that several builds may use one folder at once.
"""

from __future__ import annotations

import os
import sys
import threading
import time
import weakref
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from copy import copy
from itertools import chain, count
from pathlib import Path
from typing import Any, BinaryIO, Self

from ladderlight.cache.entries import DamagedError, Entry, EntryWriter
from ladderlight.cache.folder import cache_folder, is_own_file

ROOM = 2 << 30
"""Bytes of all entries together."""
_LEFT = 0.9  # share of the room that is left in use when entries have to go
HELD = 32 << 20
"""Bytes that wait in memory in place of a cache for one build."""
_STALE = 3600.0  # seconds after which an unfinished file is taken for that of a build that was killed
_ABANDONED = 24 * 3600.0  # seconds after the last entry when a cache for one build is taken for that of a killed one
_ASIDE = ".part"
_NOTE = ".used"
"""A file with a byte for each page that entries take, or once took: the folder is looked through when these may fill
the room, not in each build. After a look it is made that long, without content; each entry written adds to it."""
_PAGE = 1 << 12
_numbers = count()
_temporary: list[weakref.finalize[..., Any]] = []


class Cache:
    """Entries by key. Threads and processes may use one folder at once."""

    def __init__(self, folder: Path, *, room: int | None = None) -> None:
        """Take the folder, which is made when the first entry is written."""
        self.folder, self.room = folder, ROOM if room is None else room
        self._folder = str(folder)
        self.lasting = True
        """Whether later builds use it too."""
        self._held = HELD
        self._started = time.time()
        self._lock = threading.Lock()
        self._used: int | None = None
        self._spent = False
        self._open = True

    @classmethod
    def of_user(cls) -> Self | None:
        """Return the user's cache; None where there cannot be one."""
        folder = cache_folder()
        return None if folder is None else cls(folder)

    @classmethod
    def for_one_build(cls, *, room: int | None = None) -> Self:
        """Return a cache in a temporary folder, which is removed when nobody has the cache any more.

        It is made when the first entry is written, so that a process that is killed before leaves nothing. What others
        have left that were killed later is removed here.
        """
        import shutil
        import tempfile
        from secrets import token_hex

        cache = cls(Path(tempfile.gettempdir(), f"ladderlight-{token_hex()}"), room=room)
        cache.lasting = False
        for entry in _entries(cache.folder.parent):
            if len(entry.name) == len(cache.folder.name) and entry.name.startswith("ladderlight-"):
                with suppress(OSError):
                    found = entry.stat(follow_symlinks=False)
                    if is_own_file(found) and found.st_mtime < time.time() - _ABANDONED:
                        shutil.rmtree(entry.path, ignore_errors=True)
        _temporary.append(weakref.finalize(cache, shutil.rmtree, cache.folder, ignore_errors=True))
        return cache

    @classmethod
    def for_spare(cls) -> Self:
        """Return such a cache for what another has no room for."""
        return cls.for_one_build(room=sys.maxsize)

    def find(self, key: str) -> Entry | None:
        """Return the entry of a key, which counts as used now; None when there is none that is whole."""
        path = self.path(key)
        entry = Entry.open(path, key)
        if entry is not None:
            with suppress(OSError):
                os.utime(path)
        return entry

    def get(self, key: str) -> bytes | None:
        """Return the bytes of an entry of one part; None when there is none."""
        entry = self.find(key)
        try:
            return bytes(entry.read(0)) if entry is not None and len(entry.parts) == 1 else None
        except DamagedError:
            return None

    def put(self, key: str, data: bytes) -> bool:
        """Write an entry of one part, in place of one that is there. Return whether it was kept."""
        kept = self.write()
        kept.add(data)
        return kept.end(key, {}) is not None

    def write(self, spare: Cache | None = None) -> Writing:
        """Begin an entry, whose key may not be known yet. What has no room here goes to the spare cache."""
        return Writing(self, spare)

    def remove(self, key: str) -> None:
        """Remove an entry, if it can be."""
        with suppress(OSError):
            Path(self.path(key)).unlink()

    def clear(self) -> int:
        """Remove all entries and return how many bytes they had. Other files in the folder stay.

        Raises OSError when one cannot be removed.
        """
        removed = 0
        for entry, status in self._files():
            Path(entry).unlink(missing_ok=True)
            removed += status.st_size
        (self.folder / _NOTE).unlink(missing_ok=True)
        for folder in (*map(Path, _entries(self.folder)), self.folder):
            with suppress(OSError):  # not empty: somebody else's, or in use by another build
                folder.rmdir()
        return removed

    def make_room(self, size: int) -> None:
        """Count so many bytes more, and remove what was used longest ago where there is no room for them.

        Raises OSError when what this build itself has used fills the room, or nothing can be written.
        """
        with self._lock:
            if not self._open:
                raise OSError("closed")
            if self._used is None:
                self._used = self._noted()
            if self._used + size > self.room and not self._spent:
                self._used = self._trimmed(size)
            if self._used + size > self.room:
                self._spent = True  # by this build itself: looking again would find nothing to remove
                raise OSError("no room")
            self._used += size

    def holds(self, size: int) -> bool:
        """Whether so many bytes more may wait in memory, since no later build would find them here."""
        with self._lock:
            self._held -= 0 if self.lasting else size
            return not self.lasting and self._held >= 0

    def close(self) -> None:
        """Write nothing more: the disk is full, or the folder cannot be written."""
        with self._lock:
            self._open = False

    def note(self, size: int) -> None:
        """Note that an entry of so many bytes was written."""
        if self.lasting:
            with suppress(OSError), (self.folder / _NOTE).open("ab", buffering=0) as file:
                file.write(bytes(-(-size // _PAGE)))

    def _noted(self) -> int:
        """Return how many bytes may be in use by what is noted."""
        try:
            return (self.folder / _NOTE).stat().st_size * _PAGE
        except OSError:
            return self._trimmed(0)

    def _trimmed(self, size: int) -> int:
        """Remove old entries if there is no room for so many bytes; return how many are in use, and note it."""
        used = sum(status.st_size for _, status in self._files())
        if used + size > self.room:
            # Of thousands that this build itself has written no list is made.
            times = ((found.st_mtime, found.st_size, entry.path, entry.name) for entry, found in self._files())
            for time_, own, path, name in sorted(each for each in times if each[0] < self._started):
                if used + size <= _LEFT * self.room:
                    break
                if name.startswith(_ASIDE) and time_ > time.time() - _STALE:
                    continue
                with suppress(OSError):
                    Path(path).unlink()
                    used -= own
        if self.lasting:
            with suppress(OSError), (self.folder / _NOTE).open("ab") as file:
                file.truncate(used // _PAGE)
        return used

    def _files(self) -> Iterator[tuple[os.DirEntry[str], os.stat_result]]:
        """Yield the entries, unfinished ones too; only names that this cache gives."""
        top = _entries(self.folder)
        folders = [each for each in top if len(each.name) == 2 and each.is_dir(follow_symlinks=False)]
        inside = (entry for each in folders for entry in _entries(each) if entry.name.startswith(each.name))
        for entry in chain(inside, (each for each in top if each.name.startswith(_ASIDE))):  # one folder at a time
            with suppress(OSError):
                yield entry, entry.stat(follow_symlinks=False)

    def path(self, key: str) -> str:
        """Return the file of a key's entry: a text, since a path takes twenty times as long."""
        return f"{self._folder}{os.sep}{key[:2]}{os.sep}{key}"


class Writing:
    """An entry that is being written. A failure ends it quietly: the entry is then not kept."""

    def __init__(self, cache: Cache, spare: Cache | None = None) -> None:
        """Begin to write; with a spare cache, what has been written moves there when the first one fails."""
        self._spare = spare
        self._file: BinaryIO | None = None
        self._begin(cache)

    def add(self, data: bytes | memoryview) -> None:
        """Write a part."""
        if self._file is None:
            return
        try:
            self._cache.make_room(len(data))
            self._entry.add(data)
        except OSError as error:
            self._fail(error)
            self.add(data)

    def end(self, key: str, about: Mapping[str, Any]) -> Entry | None:
        """Write the description, and put the entry into its place. Return it, or None if it is not kept."""
        if self._file is None:
            return None
        path = Path(self._cache.path(key))
        try:
            entry = self._entry.end(path, key, about)
            size = self._file.tell()
            self._file.close()
            path.parent.mkdir(mode=0o700, exist_ok=True)
            self._aside.replace(path)
        except OSError as error:
            self._fail(error)
            return self.end(key, about)
        self._file = None
        self._cache.note(size)
        return entry

    def discard(self) -> None:
        """Give up the entry, if it is not in its place yet."""
        if self._file is not None:
            with suppress(OSError):
                self._file.close()
            with suppress(OSError):
                self._aside.unlink()
            self._file = None

    def _begin(self, cache: Cache, parts: Iterable[bytes] = ()) -> None:
        """Begin in a cache with parts written before, or in the spare one if that fails."""
        self._cache = cache
        self._aside = cache.folder / f"{_ASIDE}-{os.getpid()}-{next(_numbers)}"
        try:
            cache.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._file = self._aside.open("xb")
            self._entry = EntryWriter(self._file)
            for part in parts:
                cache.make_room(len(part))
                self._entry.add(part)
        except OSError as error:
            self._fail(error)

    def _fail(self, error: OSError) -> None:
        """Go on in the spare cache, if there is one."""
        if error.errno is not None:  # the system's, not ours
            self._cache.close()
        failed, written = copy(self), self._entry.written(self._aside) if self._file is not None else ()
        spare, self._file, self._spare = self._spare, None, None
        if spare is not None:
            self._begin(spare, written)
        failed.discard()


def remove_temporary() -> None:
    """Remove the temporary caches of a process that ends without what Python does at its end."""
    for each in _temporary:
        each()


def _entries(folder: os.PathLike[str]) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as found:
            return list(found)
    except OSError:
        return []
