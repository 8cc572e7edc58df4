"""Which entries of an output folder change places with the new ones, and which are the user's and stay."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from ladderlight.errors import BuildError, Fault
from ladderlight.storage.journal import PRIVATE, Journal
from ladderlight.storage.record import MANIFEST, RECORD, folders_of


def plan(output: Path, ours: frozenset[str]) -> Journal:
    """Plan the renames that put what lies in ``.ladderlight/new`` in place of the last build.

    Parameters
    ----------
    output
        The output folder.
    ours
        Files of the last build. All else in the folder is the user's: it stays in its place.

    Raises
    ------
    BuildError
        When something of the user's is in place of a new file: all such entries.
    OSError
        When folders cannot be listed, or made in ``new`` for the user's files.
    """
    new = output / PRIVATE / "new"
    sorting = _Sorting(output=output, new=new, ours=ours)
    sorting.sort()
    if sorting.blocking:
        raise BuildError.of(
            Fault(
                where=str(output / name),
                message="is not from the last build, and a new file would replace it; move it away",
            )
            for name in sorting.blocking
        )
    for name in sorting.carried:
        (new / name).parent.mkdir(parents=True, exist_ok=True)
    placed = {entry.name for entry in new.iterdir()} - {PRIVATE}
    # The manifest is what readers look at first: it goes first and comes last.
    return Journal(
        folder=output,
        aside=(*sorted(sorting.aside, key=lambda name: (name != MANIFEST, name)), RECORD),
        carried=tuple(sorting.carried),
        placed=(RECORD, *sorted(placed, key=lambda name: (name == MANIFEST, name))),
    )


@dataclass(kw_only=True)
class _Sorting:
    """Entries of an output folder by what becomes of them; a folder is named in place of all that is in it."""

    output: Path
    new: Path
    ours: frozenset[str]
    aside: list[str] = field(default_factory=list)
    carried: list[str] = field(default_factory=list)
    blocking: list[str] = field(default_factory=list)

    def sort(self) -> None:
        """Sort the entries of the output folder itself. What is the user's there need not be carried."""
        self._folders = folders_of(self.ours)
        for name in _names_in(self.output):
            if name == PRIVATE:
                continue
            if self._is_opened(name):
                self.aside.append(name)
                self._sort_in(name)
            elif name in self.ours and not _is_folder(self.output / name):
                self.aside.append(name)
            elif os.path.lexists(self.new / name):
                self.blocking.append(name)

    def _sort_in(self, folder: str) -> None:
        for entry in _names_in(self.output / folder):
            name = f"{folder}/{entry}"
            if self._is_opened(name):
                self._sort_in(name)
            elif name in self.ours and not _is_folder(self.output / name):
                continue
            elif os.path.lexists(self.new / name) or self._is_below_file(name):
                self.blocking.append(name)
            else:
                self.carried.append(name)

    def _is_opened(self, name: str) -> bool:
        """Whether an entry is a folder in which both builds and the user may have files."""
        both = name in self._folders or _is_folder(self.new / name)
        return both and _is_folder(self.output / name)

    def _is_below_file(self, name: str) -> bool:
        """Whether a new file is in place of a folder in which a user's file lies."""
        return any(
            os.path.lexists(self.new / parent) and not _is_folder(self.new / parent)
            for parent in PurePosixPath(name).parents
        )


def _names_in(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def _is_folder(path: Path) -> bool:
    """Whether a path is a folder, and not a link to one."""
    return path.is_dir() and not path.is_symlink()
