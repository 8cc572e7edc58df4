"""Files written so that they are on the disk, whole, or not there."""

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ladderlight.errors import BuildError
from ladderlight.storage.locking import BusyError, locked
from ladderlight.storage.stopping import held, side_by_side

_PATIENCE = 10.0
_AT_ONCE = 8
"""Files that are flushed or removed at once: the file system then writes its own journal once for several of them. One
after another they have taken four milliseconds each."""


def read_regular(path: Path) -> bytes:
    """Return a file's bytes, without waiting for a pipe or reading a device that never ends.

    Raises OSError when it cannot be read, or is not a regular file.
    """
    if not stat.S_ISREG(path.stat().st_mode):
        raise OSError(errno.EINVAL, "is not a regular file", str(path))
    return path.read_bytes()


def write_whole(path: Path, data: bytes) -> None:
    """Write one file beside its place first, and put it there whole; folders are made. A link stays one.

    Raises BuildError when it cannot be written. What was there is as it was.
    """
    try:
        with made_here() as made:
            target = Path(os.path.realpath(path))
            made.folder(target.parent)
            replace_file(target, data)
    except OSError as error:
        raise BuildError(f"cannot be written ({error.strerror}); choose another place", where=path) from error


def replace_file(path: Path, data: bytes) -> None:
    """Write a file beside its place, flush it to disk, and rename it into place.

    The name beside the place is always the same, so that what a killed program leaves is taken up by the next.

    Raises OSError when it cannot be written. What was there is as it was.
    """
    aside = path.with_name(f".{path.name}.ladderlight")
    with _alone(aside):
        try:
            with aside.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if path.exists():
                aside.chmod(path.stat().st_mode & 0o777)
            aside.replace(path)
        except BaseException:
            with suppress(OSError):
                aside.unlink(missing_ok=True)
            raise
    with suppress(OSError):  # it is in place; only whether it would be after a loss of power is not known
        sync_folder(path.parent)


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    if os.name == "nt":  # an open file cannot be renamed there
        yield
        return
    try:
        with locked(path, patience=_PATIENCE):
            yield
    except BusyError:
        raise BlockingIOError(errno.EAGAIN, "another program is writing it") from None


def sync_file(path: Path) -> None:
    """Flush a file's bytes to disk."""
    descriptor = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_folder(folder: Path) -> None:
    """Flush the names in a folder to disk; Windows does so by itself."""
    if os.name != "nt":
        sync_file(folder)


def sync_tree(folder: Path) -> None:
    """Flush all files and names below a folder to disk."""
    found = list(os.walk(folder))
    side_by_side(sync_file, (Path(parent, name) for parent, _, names in found for name in names), _AT_ONCE)
    side_by_side(sync_folder, (Path(parent) for parent, _, _ in found), _AT_ONCE)


def remove_tree(folder: Path) -> None:
    """Remove a folder of ours with all that is in it, as far as it can be; links are not followed."""
    import shutil

    if not folder.is_symlink():
        found = list(os.walk(folder))  # whole before threads remove, in whose midst a stop may come
        side_by_side(_remove, (Path(parent, name) for parent, _, names in found for name in names), _AT_ONCE)
    shutil.rmtree(folder, ignore_errors=True)


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()


class Made:
    """What has been made since, newest last, so that it can be taken back."""

    def __init__(self) -> None:
        self._files: list[Path] = []
        self._folders: list[Path] = []

    def folder(self, path: Path) -> None:
        """Make a folder and those above it, as far as they are not there."""
        missing = [each for each in (path, *path.parents) if not each.exists()]
        for each in reversed(missing):
            with held():
                each.mkdir()
                self._folders.append(each)
        if not missing and not path.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, "there is a file in place of a folder", str(path))

    def file(self, path: Path, data: bytes) -> None:
        """Write a file that must not be there yet."""
        with held():
            file = path.open("xb")
            self._files.append(path)
        with file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())

    def undo(self) -> None:
        """Remove what was made. A folder into which somebody else has put something stays."""
        for path in reversed(self._files):
            with suppress(OSError):
                path.unlink()
        for path in reversed(self._folders):
            with suppress(OSError):
                path.rmdir()


@contextmanager
def made_here() -> Iterator[Made]:
    """Yield a record of what is made in the block; when the block fails or is stopped, all of it is removed."""
    made = Made()
    try:
        yield made
    except BaseException:
        with held():
            made.undo()
        raise
