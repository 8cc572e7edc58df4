"""Paths that the system may refuse: no permission, a name too long, a loop of links, a NUL character."""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ladderlight.errors import LadderlightError

Mark = tuple[int, int, int, int]
"""Size, times in nanoseconds of the last change of contents and of anything, and number of a file. The last two show a
change after which somebody has set the time back."""


def reason_of(error: OSError | ValueError) -> str:
    """Return why the system refuses a path. A ``ValueError`` is raised for paths that no system call takes."""
    if isinstance(error, OSError):
        return error.strerror or str(error) or type(error).__name__
    return "the name has a character that no file name can have"


@contextmanager
def path_trouble(kind: type[LadderlightError], where: object, what: str, action: str) -> Iterator[None]:
    """Turn what the system refuses about a path into an expected error: ``where: what (reason); action``."""
    try:
        yield
    except (OSError, ValueError) as error:
        raise kind(f"{what} ({reason_of(error)}); {action}", where=where) from error


def trouble_with(path: Path) -> str:
    """Return why the system refuses access to a path or folder; empty when it does not, or nothing is there."""
    try:
        path.stat()
        if is_folder(path):
            os.scandir(path).close()
    except (FileNotFoundError, NotADirectoryError):
        return ""
    except (OSError, ValueError) as error:
        return reason_of(error)
    return ""


def mark_of(path: str | Path, *, through_links: bool = True) -> Mark | None:
    """Return the mark of a regular file; None where there is none."""
    try:
        found = os.stat(path, follow_symlinks=through_links)  # noqa: PTH116 - several figures of one call
    except (OSError, ValueError):
        return None
    return mark_in(found) if stat.S_ISREG(found.st_mode) else None


def mark_in(found: os.stat_result) -> Mark:
    """Return the mark in what the system knows of a file."""
    return (found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino)


def is_file(path: str | Path) -> bool:
    """Whether a file is there. Unlike the method of a path it raises nothing; see :func:`trouble_with`."""
    return os.path.isfile(path)  # noqa: PTH113


def is_folder(path: Path) -> bool:
    """Whether a folder is there. Raises nothing."""
    return os.path.isdir(path)  # noqa: PTH112


def entries_of(folder: Path) -> list[Path]:
    """List what is in a folder, nothing when it cannot be read."""
    try:
        return list(folder.iterdir())
    except (OSError, ValueError):
        return []


def resolved(path: Path) -> Path:
    """Follow the links of a path as far as they lead. Raises nothing but for a NUL character."""
    return Path(os.path.realpath(path))
