"""Files as they were read: by its mark, one that has not changed is known without reading it again."""

import hashlib
import os
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Self

from ladderlight.system.paths import Mark, mark_in, mark_of

_TICK = 60_000_000
"""Nanoseconds that a file system's clock may stand still: a file may change twice in that time and keep its mark."""
_SMALL = 1 << 22
_WHOLE_SECONDS = 2_500_000_000  # the same, where times are whole seconds, or every other


@dataclass(frozen=True, slots=True)
class Seen:
    """A file as it was read: its mark from before, its SHA-256, and whether a later change must change the mark."""

    mark: Mark
    sha256: str
    settled: bool

    @property
    def size(self) -> int:
        """How many bytes it has."""
        return self.mark[0]

    @classmethod
    def now(cls, path: str | Path) -> Self:
        """Read a file. Raises OSError when it cannot be read."""
        began = time.time_ns()
        with open(path, "rb", buffering=0) as file:  # noqa: PTH123 - hundreds of files, twice as fast as Path.open
            mark = mark_in(os.fstat(file.fileno()))
            small = mark[0] < _SMALL  # most files; in parts, a thread would wait for the interpreter's lock after each
            digest = (hashlib.sha256(file.readall()) if small else hashlib.file_digest(file, "sha256")).hexdigest()
        settled = mark_of(path) == mark and began - max(mark[1:3]) > _tick(mark)
        return cls(mark, digest, settled)

    @classmethod
    def once(cls, place: str) -> "Seen":
        """Return a file of the program as it is now, read only where its mark does not show that it is as known."""
        seen = _READ.get(place) or _KNOWN.get(place)
        if seen is None or not seen.is_surely(place):
            seen = cls.now(place)
        _READ[place] = seen
        return seen

    def settled_by_now(self) -> Self:
        """Return the same, known for settled if the file was not changed before now."""
        return replace(self, settled=time.time_ns() - max(self.mark[1:3]) > _tick(self.mark))

    def is_surely(self, path: str | Path) -> bool:
        """Whether the mark alone shows that a file is as it was seen."""
        return self.settled and mark_of(path) == self.mark

    def changed_after(self, time_ns: int) -> bool:
        """Whether the file has changed since a time, or may have, as exactly as its file system's clock goes."""
        return max(self.mark[1:3]) > time_ns - _tick(self.mark)

    def still(self, path: str | Path) -> bool:
        """Whether a file is as it was seen. It is read again only where its mark cannot show that."""
        if self.settled or mark_of(path) != self.mark:
            return mark_of(path) == self.mark
        try:
            return Seen.now(path).sha256 == self.sha256
        except OSError:
            return False


_READ: dict[str, Seen] = {}  # files of the program, as this process has seen them
_KNOWN: dict[str, Seen] = {}  # the same, as earlier processes have


def know_program(found: Mapping[str, Seen]) -> None:
    """Take what earlier processes have seen of the program's files."""
    _KNOWN.update(found)


def program_files() -> dict[str, Seen]:
    """Return the program's files as this process has seen them."""
    return dict(sorted(_READ.items()))


def _tick(mark: Mark) -> int:
    return _TICK if any(when % 1_000_000_000 for when in mark[1:3]) else _WHOLE_SECONDS


def as_json(seen: Mapping[str, Seen]) -> dict[str, Any]:
    """Return files by path as JSON values."""
    return {path: [*each.mark, each.sha256, each.settled] for path, each in seen.items()}


def from_json(found: Mapping[str, Any]) -> dict[str, Seen]:
    """Return files by path from JSON values. Raises ValueError, TypeError when they are something else."""
    return {
        path: Seen((int(size), int(modified), int(changed), int(number)), str(digest), settled is True)
        for path, (size, modified, changed, number, digest, settled) in found.items()
    }
