"""The journal: renames, recorded before the first is done, so that the next process can finish or undo them."""

import errno
import json
import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict
from os.path import lexists
from pathlib import Path, PurePosixPath
from typing import Self

from ladderlight.errors import BuildError
from ladderlight.storage.writing import read_regular, remove_tree, replace_file, sync_folder
from ladderlight.system.frozen import Frozen

PRIVATE = ".ladderlight"
"""Folder in the output folder for what is ours alone: locks, the record, the journal, files not yet in place."""
FORMAT = 2
_JOURNAL = "journal.json"


class Journal(Frozen):
    """Renames within an output folder; every path is relative to it and written with ``/``.

    First the old entries go ``aside``, to ``old``. Entries among them that are the user's are then ``carried`` on, into
    ``new``, each to the name that it is given there. Then the new entries are ``placed``. Each rename can be seen to be
    done or not from what is where, so that finishing and undoing may themselves be interrupted and repeated.
    """

    folder: Path
    aside: tuple[str, ...]
    carried: Mapping[str, str]
    placed: tuple[str, ...]
    """The last is seen last in its place; it should be what readers look at first."""

    @property
    def _new(self) -> Path:
        return self.folder / PRIVATE / "new"

    @property
    def _old(self) -> Path:
        return self.folder / PRIVATE / "old"

    def write(self) -> None:
        """Write the journal to disk. From then on the renames count as begun."""
        names = {key: value for key, value in asdict(self).items() if key != "folder"}
        replace_file(_path(self.folder), json.dumps({"format": FORMAT, **names}).encode())
        sync_folder(self.folder / PRIVATE)

    def finish(self) -> None:
        """Do the renames that are not done yet."""
        waiting = [name for name in self.placed if lexists(self._new / name)]
        if len(waiting) == len(self.placed):
            for name in self.aside:
                if not lexists(self._old / name) and lexists(self.folder / name):
                    self._move(self.folder, self._old, name)
            for name, kept in self.carried.items():
                if lexists(self._old / name):
                    self._move(self._old, self._new, name, kept)
        for name in waiting:
            self._move(self._new, self.folder, name)
        self._sync()

    def undo(self) -> None:
        """Take back what has been done."""
        for name in reversed(self.placed):
            if not lexists(self._new / name) and lexists(self.folder / name):
                self._move(self.folder, self._new, name)
        for name, kept in reversed(list(self.carried.items())):
            if lexists(self._new / kept) and not lexists(self._old / name):
                self._move(self._new, self._old, kept, name)
        for name in reversed(self.aside):
            if lexists(self._old / name):
                self._move(self._old, self.folder, name)
        self._sync()

    def take_back(self, reason: OSError) -> None:
        """Undo renames that cannot be finished. Raises BuildError when they cannot be undone either."""
        try:
            self.undo()
            self.close()
        except OSError:
            raise unsettled(self.folder, reason) from reason

    def close(self) -> None:
        """Forget the renames: all are done, or none is."""
        _path(self.folder).unlink(missing_ok=True)
        with suppress(OSError):
            sync_folder(self.folder / PRIVATE)

    def _move(self, source: Path, target: Path, name: str, kept: str = "") -> None:
        """Rename an entry, which keeps its name unless it is given another one."""
        kept = kept or name
        for top, path in ((source, name), (target, kept)):
            if any(os.path.islink(f"{top}/{parent}") for parent in PurePosixPath(path).parents):  # noqa: PTH114
                raise OSError(errno.ELOOP, "a link is in place of a folder", str(top / path))
        if lexists(target / kept):
            raise FileExistsError(errno.EEXIST, "something has been put there", str(target / kept))
        (source / name).rename(target / kept)

    def _sync(self) -> None:
        carried = {(self.folder / name).parent for name in self.carried.values()}
        for folder in (self.folder, self.folder / PRIVATE, self._new, self._old, *carried):
            if folder.is_dir():
                sync_folder(folder)

    @classmethod
    def read(cls, folder: Path) -> Self | None:
        """Read the journal of a folder, if renames were begun there and not ended.

        Raises BuildError when it is damaged.
        """
        path = _path(folder)
        try:
            found = json.loads(read_regular(path))
            if found["format"] != FORMAT:
                raise ValueError
            aside, carried, placed = _names(found["aside"]), found["carried"], _names(found["placed"])
            carried = dict(zip(_names(carried), _names(carried.values()), strict=True))
            return cls(folder=folder, aside=aside, carried=carried, placed=placed)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
            reason = f"cannot be read ({error.strerror})" if isinstance(error, OSError) else "is damaged"
            raise BuildError(
                f"the journal of an interrupted build {reason}; move {folder} away and build again", where=path
            ) from None


def begin(folder: Path) -> Path:
    """Make the folders that a build's renames need, and return that for its new files.

    Raises OSError also when one of an earlier build could not be removed: what has been renamed is seen by what is in
    them.
    """
    new, old = folder / PRIVATE / "new", folder / PRIVATE / "old"
    for each in (new, new / PRIVATE, old, old / PRIVATE):
        each.mkdir()
    return new


def is_begun(folder: Path) -> bool:
    """Whether renames in an output folder were begun and not ended."""
    return lexists(_path(folder))


def leftovers(folder: Path) -> list[Path]:
    """List what a build that did not end has left in an output folder."""
    private = folder / PRIVATE
    return [path for name in ("new", "old", f".{_JOURNAL}.ladderlight") if lexists(path := private / name)]


def settle(folder: Path) -> None:
    """Finish what a build that was killed had begun, or else undo it; clear what it left. The locks must be held.

    Raises BuildError when neither can be done.
    """
    journal = Journal.read(folder)
    if journal:
        try:
            journal.finish()
            with suppress(OSError):  # then the next one finds nothing left to do
                journal.close()
        except OSError as error:
            journal.take_back(error)
    clear(folder)


def unsettled(folder: Path, reason: OSError) -> BuildError:
    """Return the error for a folder between an old and a new build."""
    name = f"{reason.filename}: " if reason.filename else ""
    return BuildError(
        f"a build was interrupted while its files were put in place, and cannot be finished ({name}{reason.strerror}); "
        "remove the cause and run the command again, which finishes it",
        where=folder,
    )


def clear(folder: Path) -> None:
    """Remove what is left of a build; nothing while its renames are not ended."""
    if not is_begun(folder):
        for path in leftovers(folder):
            remove_tree(path)
            with suppress(OSError):
                path.unlink(missing_ok=True)


def _path(folder: Path) -> Path:
    return folder / PRIVATE / _JOURNAL


def _names(found: Iterable[object]) -> tuple[str, ...]:
    """Check that paths stay in their folder."""
    names = tuple(found)
    for name in names:
        if not is_inside(name):
            raise ValueError
    return tuple(str(name) for name in names)


def is_inside(name: object) -> bool:
    """Whether a path, relative and written with ``/``, stays in its folder."""
    if not isinstance(name, str) or "\0" in name or (os.name == "nt" and set("\\:") & set(name)):
        return False
    return not {"", ".", ".."} & set(name.split("/"))
