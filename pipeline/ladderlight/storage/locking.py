"""Locks that end with the process that holds them, however it ends."""

import errno
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_PAUSE = 0.02
_UNKNOWN = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP}
"""A file system without locks: builds go on there, and keeping them apart is left to the user."""


class BusyError(Exception):
    """Another process holds the lock."""


@contextmanager
def locked(path: Path, *, shared: bool = False, patience: float = 0) -> Iterator[None]:
    """Hold a lock on a file, which is made, or on a folder. Who holds it may rename or remove it.

    With ``shared`` others may hold it too, all of them shared; Windows has no such locks, and there it is held alone.
    Raises BusyError when others hold it for longer than ``patience``, in seconds, and OSError when the file cannot be
    opened.
    """
    end = time.monotonic() + patience
    while True:
        descriptor = _opened(path)
        try:
            taken = _taken(descriptor, shared=shared)
            if taken and _is_still(descriptor, path):
                yield
                return
        finally:
            os.close(descriptor)  # gives the lock back
        if not taken:
            if time.monotonic() >= end:
                raise BusyError
            time.sleep(_PAUSE)


def _is_still(descriptor: int, path: Path) -> bool:
    """Whether the file has its name yet: whoever held it may have renamed or removed it."""
    try:
        return os.path.samestat(os.fstat(descriptor), path.stat())
    except FileNotFoundError:
        return False


def _opened(path: Path) -> int:
    flags = getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | flags, 0o666)
    except OSError:
        if not path.exists():
            raise
        return os.open(path, os.O_RDONLY | flags)  # a folder, of another user, or on a medium that is not written


if sys.platform == "win32":
    import msvcrt

    def _taken(descriptor: int, *, shared: bool) -> bool:  # noqa: ARG001 - there are none
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _taken(descriptor: int, *, shared: bool) -> bool:
        try:
            fcntl.flock(descriptor, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError as error:
            if error.errno not in _UNKNOWN:
                raise
        return True
