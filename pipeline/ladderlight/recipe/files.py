"""The picture files that a recipe names."""

from __future__ import annotations

import glob
import os
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from ladderlight.errors import Problem
from ladderlight.recipe.model import PictureFile
from ladderlight.recipe.reading import nearest_file

_MAGIC = re.compile(r"[*?\[]")


def picture_files(folder: Path, patterns: Sequence[str]) -> tuple[list[PictureFile], list[Problem]]:
    """List the files that match, each once: by pattern in the order listed, then in natural order.

    ``where`` of a problem is the index of the pattern.
    """
    files: dict[Path, PictureFile] = {}
    problems = []
    for index, pattern in enumerate(patterns):
        found = [path for path in _matches(folder, pattern) if path.is_file()]
        for path in sorted(found, key=lambda path: natural_key(source_of(folder, path))):
            files.setdefault(path.resolve(), PictureFile(path=path, source=source_of(folder, path)))
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
    if path.is_dir():
        return f"{name!r} is a folder", "name a file in it"
    if not path.parent.is_dir():
        return f"there is no folder {_shown(path.parent, folder)!r}", "check the path; it is relative to the recipe"
    names = [source_of(folder, item) for item in path.parent.iterdir() if item.is_file()]
    hint = nearest_file(source_of(folder, path), names)
    return f"there is no file {name!r}", hint or "check the path; it is relative to the recipe"


def _matches(folder: Path, pattern: str) -> Iterator[Path]:
    if (folder / pattern).exists():  # a name may hold the characters of patterns
        yield folder / pattern
        return
    # Path.glob refuses absolute patterns and those that go up.
    for name in glob.iglob(pattern, root_dir=folder, recursive=True):  # noqa: PTH207
        yield folder / name


def lies_below(path: Path, folder: Path) -> bool:
    """Whether a file lies below a folder, or the link that names it does, whatever the names on the way."""
    places = {Path(os.path.realpath(path.parent)), Path(os.path.realpath(path)).parent}
    around = [each for place in places for each in (place, *place.parents)]
    return folder in around or (folder.exists() and any(each.exists() and each.samefile(folder) for each in around))


def source_of(folder: Path, path: Path) -> str:
    """Return a path as the recipe writes it: relative to the recipe, with ``/``."""
    return Path(os.path.relpath(path, folder)).as_posix()


def _nothing(folder: Path, pattern: str) -> tuple[str, str]:
    if not _MAGIC.search(pattern):
        what, action = missing_file(folder, pattern)
        if what.endswith("is a folder"):
            action = f'write "{pattern.rstrip("/")}/*.png" for the PNG files in it'
        return what, action
    fixed = Path(pattern[: _MAGIC.search(pattern).start()])  # type: ignore[union-attr]
    around = folder / (fixed if pattern[: len(str(fixed)) + 1].endswith(("/", os.sep)) else fixed.parent)
    if not around.is_dir():
        return f"{pattern!r} matches no file: there is no folder {_shown(around, folder)!r}", "check the path"
    endings = Counter(item.suffix for item in around.iterdir() if item.is_file() and item.suffix)
    if not endings:
        return f"{pattern!r} matches no file", "check the pattern, or put the pictures there"
    most = sorted(endings.items(), key=lambda item: (-item[1], item[0]))[:4]
    listed = ", ".join(f"{count} {ending}" for ending, count in most)
    return f"{pattern!r} matches no file", f"check the pattern; the folder holds {listed}"


def _shown(path: Path, folder: Path) -> str:
    return source_of(folder, path)
