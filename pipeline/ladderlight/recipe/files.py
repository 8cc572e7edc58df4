"""The picture files that a recipe names."""

from __future__ import annotations

import glob
import os
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from fnmatch import fnmatch
from pathlib import Path

from ladderlight.errors import Problem
from ladderlight.paths import entries_of, is_file, is_folder, trouble_with
from ladderlight.recipe.model import PictureFile
from ladderlight.recipe.reading import nearest_file

MOST_FOLDERS = 10_000
"""Folders that one pattern may go through; a pattern that begins at the root finds every folder of the machine."""

_MAGIC = re.compile(r"[*?\[]")


def picture_files(folder: Path, patterns: Sequence[str]) -> tuple[list[PictureFile], list[Problem]]:
    """List the files that match, each once: by pattern in the order listed, then in natural order.

    ``where`` of a problem is the index of the pattern.
    """
    files: dict[Path, PictureFile] = {}
    problems = []
    for index, pattern in enumerate(patterns):
        if _is_too_wide(folder, pattern):
            what = f"{pattern!r} goes through more than {MOST_FOLDERS:,} folders"
            problems.append(Problem(where=(index,), what=what, action="name the folder that the pictures are in"))
            continue
        found = [path for path in _matches(folder, pattern) if is_file(path)]
        for path in sorted(found, key=lambda path: natural_key(_source(folder, path))):
            files.setdefault(path.resolve(), PictureFile(path=path, source=_source(folder, path)))
        if not found:
            what, action = _nothing(folder, pattern)
            problems.append(Problem(where=(index,), what=what, action=action))
    return list(files.values()), problems


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Key to sort texts by, such that ``p2`` comes before ``p10``."""
    parts = re.split(r"(\d+)", text.casefold())
    return tuple((1, int(part), part) if part.isdecimal() else (0, 0, part) for part in parts)


def missing_file(folder: Path, name: str) -> tuple[str, str]:
    """Say that a file is not there, and which one may be meant."""
    path = folder / name
    trouble = trouble_with(path)
    if trouble:
        return f"{name!r} cannot be read ({trouble})", "check the path and its permissions"
    if is_folder(path):
        return f"{name!r} is a folder", "name a file in it"
    if not is_folder(path.parent):
        return f"there is no folder {_shown(path.parent, folder)!r}", "check the path; it is relative to the recipe"
    names = [_source(folder, item) for item in entries_of(path.parent) if is_file(item)]
    hint = nearest_file(_source(folder, path), names)
    return f"there is no file {name!r}", hint or "check the path; it is relative to the recipe"


def _is_too_wide(folder: Path, pattern: str) -> bool:
    """Whether a pattern goes through more than ``MOST_FOLDERS`` folders. Links are followed, as the search does it."""
    level, count = [folder], 0
    *above, last = Path(pattern).parts or ("",)
    for part in [*above, last] if last == "**" else above:
        if not _MAGIC.search(part):
            level = [here / part for here in level]
            continue
        waiting, level = level, []
        for here in waiting:
            count += 1
            if count > MOST_FOLDERS:
                return True
            inside = [path for path in _folders_in(here) if part == "**" or fnmatch(path.name, part)]
            level += [here] if part == "**" else inside
            waiting += inside if part == "**" else []
    return count + len(level) > MOST_FOLDERS


def _folders_in(folder: Path) -> list[Path]:
    try:
        with os.scandir(folder) as entries:
            found = [entry for entry in entries if not entry.name.startswith(".")]
    except OSError:
        return []
    # Only of a link the system must be asked what it is.
    return [Path(e) for e in found if (is_folder(Path(e)) if e.is_symlink() else e.is_dir(follow_symlinks=False))]


def _matches(folder: Path, pattern: str) -> Iterator[Path]:
    if is_file(folder / pattern) or is_folder(folder / pattern):  # a name may hold the characters of patterns
        yield folder / pattern
        return
    # Path.glob refuses absolute patterns and those that go up.
    for name in glob.iglob(pattern, root_dir=folder, recursive=True):  # noqa: PTH207
        yield folder / name


def _source(folder: Path, path: Path) -> str:
    return Path(os.path.relpath(path, folder)).as_posix()


def _nothing(folder: Path, pattern: str) -> tuple[str, str]:
    if not _MAGIC.search(pattern):
        what, action = missing_file(folder, pattern)
        if what.endswith("is a folder"):
            action = f'write "{pattern.rstrip("/")}/*.png" for the PNG files in it'
        return what, action
    fixed = Path(pattern[: _MAGIC.search(pattern).start()])  # type: ignore[union-attr]
    around = folder / (fixed if pattern[: len(str(fixed)) + 1].endswith(("/", os.sep)) else fixed.parent)
    trouble = trouble_with(around / ".")
    if trouble:
        return f"{pattern!r} matches no file: {_shown(around, folder)!r} cannot be read ({trouble})", "check the path"
    if not is_folder(around):
        return f"{pattern!r} matches no file: there is no folder {_shown(around, folder)!r}", "check the path"
    endings = Counter(item.suffix for item in entries_of(around) if is_file(item) and item.suffix)
    if not endings:
        return f"{pattern!r} matches no file", "check the pattern, or put the pictures there"
    most = sorted(endings.items(), key=lambda item: (-item[1], item[0]))[:4]
    listed = ", ".join(f"{count} {ending}" for ending, count in most)
    return f"{pattern!r} matches no file", f"check the pattern; the folder holds {listed}"


def _shown(path: Path, folder: Path) -> str:
    return _source(folder, path)
