"""Which entries of an output folder change places with the new ones, and which are the user's and stay."""

import itertools
import os
from collections.abc import Mapping, Set
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from ladderlight.errors import BuildError, Fault
from ladderlight.storage.journal import PRIVATE, Journal
from ladderlight.storage.record import MANIFEST, RECORD, Files, digest_of, folders_of

EDITED = "edited"
"""Folder in the output folder for what the user has changed in files of the last build."""


def plan(output: Path, ours: Files, staying: Set[str] = frozenset()) -> Journal:
    """Plan the renames that put what lies in ``.ladderlight/new`` in place of the last build.

    ``ours`` are the files of the last build. All else in the folder is the user's: it stays in its place. A file of the
    last build that was changed since is the user's too, but a new one needs its place: it moves to the folder
    ``edited``. ``staying`` are folders of the last build that stay with all that is in them, none of it changed.

    Raises BuildError when something of the user's is in place of a new file: all such entries; and OSError when folders
    cannot be listed, or made in ``new`` for the user's files.
    """
    new = output / PRIVATE / "new"
    sorting = _Sorting(output=output, new=new, ours=ours, staying=staying)
    sorting.sort()
    if sorting.blocking:
        message = "is not from the last build, and a new file would replace it; move it away"
        raise BuildError.of(Fault(where=str(output / name), message=message) for name in sorting.blocking)
    # A name for the folder of changed files that neither the user nor the new build has.
    names = (f"{EDITED}-{number}" if number > 1 else EDITED for number in itertools.count(1))
    free = next(name for name in names if not any(os.path.lexists(folder / name) for folder in (output, new)))
    carried = {name: name for name in sorting.carried} | sorting.edited(free)
    for name in carried.values():
        (new / name).parent.mkdir(parents=True, exist_ok=True)
    placed = {entry.name for entry in new.iterdir()} - {PRIVATE}
    # The manifest is what readers look at first: it goes first and comes last.
    return Journal(
        folder=output,
        aside=(*sorted(sorting.aside, key=lambda name: (name != MANIFEST, name)), RECORD),
        carried=carried,
        placed=(RECORD, *sorted(placed, key=lambda name: (name == MANIFEST, name))),
    )


def edited_files(journal: Journal) -> Mapping[str, str]:
    """Return the names of the files that the user has changed, and under which names a journal keeps them."""
    return {name: kept for name, kept in journal.carried.items() if name != kept}


@dataclass(kw_only=True)
class _Sorting:
    """Entries of an output folder by what becomes of them; a folder is named in place of all that is in it."""

    output: Path
    new: Path
    ours: Files
    staying: Set[str]
    aside: list[str] = field(default_factory=list)
    carried: list[str] = field(default_factory=list)
    blocking: list[str] = field(default_factory=list)

    def edited(self, folder: str) -> dict[str, str]:
        """Return the changed files of the last build, each with its name in a folder for them.

        Links, pipes and the like hold nothing of their own.
        """
        staying = tuple(f"{each}/" for each in self.staying)
        return {
            name: f"{folder}/{name}"
            for name, digest in sorted(self.ours.items())
            if digest is not None and not name.startswith(staying) and _is_changed(self.output, name, digest)
        }

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
            if name in self.staying:
                self.carried.append(name)
            elif self._is_opened(name):
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
        above = (self.new / parent for parent in PurePosixPath(name).parents)
        return any(os.path.lexists(parent) and not _is_folder(parent) for parent in above)


def _names_in(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def _is_changed(output: Path, name: str, digest: str) -> bool:
    """Whether a file of the last build has another content now, or one that cannot be read."""
    path = output / name
    if any((output / each).is_symlink() for each in (name, *folders_of([name]))) or not path.is_file():
        return False
    try:
        return digest_of(path) != digest
    except OSError:
        return True


def is_real_folder(output: Path, name: str) -> bool:
    """Whether a name in an output folder leads to a folder, through no link."""
    return all(_is_folder(f"{output}/{each}") for each in (name, *folders_of([name])))


def _is_folder(path: str | Path) -> bool:
    """Whether a path is a folder, and not a link to one."""
    return os.path.isdir(path) and not os.path.islink(path)  # noqa: PTH112, PTH114 - thousands
