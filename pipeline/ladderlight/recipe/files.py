"""The picture files that a recipe names."""

import errno
import glob
import os
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

from ladderlight.errors import Problem
from ladderlight.system.paths import is_file, is_folder, trouble_with

MOST_FOLDERS = 10_000
"""Folders that one pattern may go through; a pattern that begins at the root finds every folder of the machine."""

_MAGIC = re.compile(r"[*?\[]")
_SYSTEM = ("thumbs.db", "ehthumbs.db", "desktop.ini")
"""Files that Windows puts into folders (from memory); patterns pass them over. Those of macOS begin with a dot."""
_OPEN_IT = "check its permissions"


@dataclass(frozen=True, kw_only=True, slots=True)
class PictureFile:
    """One picture file: where it is, and how the recipe names it, relative to the recipe and with ``/``."""

    place: str
    source: str

    @property
    def path(self) -> Path:
        """Where it is; made anew whenever asked, since of thousands of files a text takes a quarter of the memory."""
        return Path(self.place)


def picture_files(folder: Path, patterns: Sequence[str]) -> tuple[list[PictureFile], list[Problem]]:
    """List the files that match, each once: by pattern in the order listed, then in natural order.

    A pattern after ``!`` leaves out what was listed before it. ``where`` of a problem is the index of the pattern, or
    empty when nothing is left.
    """
    files: dict[str, PictureFile] = {}
    problems = []
    real = cache(os.path.realpath)

    def resolved(place: str) -> str:
        """Follow links; only of a link itself, or of a folder seen for the first time, the system is asked."""
        around, name = os.path.split(place)
        link = os.path.islink(place)  # noqa: PTH114 - of thousands of files no paths are made
        return os.path.normcase(real(place) if link else os.path.join(real(around), name))  # noqa: PTH118

    for index, pattern in enumerate(patterns):
        left_out = _leaves_out(folder, pattern)
        if _is_too_wide(folder, pattern[left_out:]):
            what = f"{pattern!r} goes through more than {MOST_FOLDERS:,} folders"
            problems.append(Problem(where=(index,), what=what, action="name the folder that the pictures are in"))
        elif left_out:
            for place in _files(folder, pattern[1:]):
                files.pop(resolved(place), None)
        elif found := [PictureFile(place=place, source=source_of(folder, place)) for place in _files(folder, pattern)]:
            for file in sorted(found, key=lambda file: natural_key(file.source)):
                files.setdefault(resolved(file.place), file)
        else:
            what, action = _nothing(folder, pattern)
            problems.append(Problem(where=(index,), what=what, action=action))
    if not files and not problems:
        problems.append(Problem(where=(), what="no picture is left", action='list some before what "!" leaves out'))
    return list(files.values()), problems


def picture_pattern(folder: Path, patterns: Sequence[str], path: Path) -> str:
    """Return the pattern by which a file, there or not yet, is taken as a picture; empty when it is not.

    Links are followed in the path, and in a pattern up to its first special character.
    """
    found = ""
    names = {Path(os.path.abspath(path)).parts, Path(os.path.realpath(path)).parts}  # noqa: PTH100 - keeps links
    for pattern in patterns:
        left_out = _leaves_out(folder, pattern)
        if any(_fits(parts, name) for parts in _parts(folder, pattern[left_out:]) for name in names):
            found = "" if left_out else found or pattern
    return found


def _parts(folder: Path, pattern: str) -> Iterator[tuple[str, ...]]:
    """Return the parts of a pattern from the root, as they are written and with links followed."""
    whole = Path(os.path.normpath(folder / pattern)).parts
    fixed = next((index for index, part in enumerate(whole) if _MAGIC.search(part)), len(whole) - 1)
    yield whole
    yield (*Path(os.path.realpath(Path(*whole[:fixed]))).parts, *whole[fixed:])


def _fits(parts: Sequence[str], name: Sequence[str]) -> bool:
    """Whether the parts of a path fit those of a pattern; ``**`` takes any folders, and last any files as well."""
    if not parts or not name:
        return not name and all(part == "**" for part in parts)
    first, hidden = parts[0], name[0].startswith(".") and not parts[0].startswith(".")
    if first == "**":
        return _fits(parts[1:], name) or (not hidden and _fits(parts, name[1:]))
    fits = first == name[0] or (not hidden and fnmatch(name[0], first))
    return fits and _fits(parts[1:], name[1:])


def idle_exclusions(folder: Path, patterns: Sequence[str]) -> Iterator[str]:
    """Yield a caution for each ``!pattern`` that leaves out nothing, with what may be meant."""
    for index, pattern in enumerate(patterns):
        if not _leaves_out(folder, pattern):
            continue
        from ladderlight.flow.pictures import file_name, matching

        listed, _ = picture_files(folder, patterns[:index])
        left_out = {Path(place).resolve() for place in _files(folder, pattern[1:])}
        if any(file.path.resolve() in left_out for file in listed):
            continue
        near = matching(pattern[1:], [(file, [file_name(file.source)]) for file in listed])
        later, _ = picture_files(folder, patterns)
        if near:
            around = near[0].source.removesuffix(file_name(near[0].source))
            hint = f"did you mean '!{around}{pattern[1:]}'?"
        elif any(file.path.resolve() in left_out for file in later):
            hint = "put it after the pattern that lists them"
        else:
            hint = nearest_file(pattern, [f"!{file.source}" for file in listed]) or "check the pattern, or leave it out"
        yield f"{pattern!r} leaves out nothing; {hint}"


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Key to sort texts by, such that ``p2`` comes before ``p10``."""
    parts = re.split(r"(\d+)", text.casefold())
    return tuple((1, int(part), part) if part.isdecimal() else (0, 0, part) for part in parts)


def nearest_file(name: str, names: Iterable[str]) -> str:
    """Return the hint ``did you mean 'x'?``, or nothing. Names with one ending are alike for that alone."""
    from difflib import get_close_matches

    near = get_close_matches(name, sorted(names), n=1, cutoff=0.75)
    return f"did you mean {near[0]!r}?" if near else ""


def missing_file(folder: Path, name: str) -> tuple[str, str]:
    """Return why a file cannot be used, and what to do: which one may be meant."""
    path = folder / name
    if trouble := trouble_with(path):
        return f"{name!r} cannot be read ({trouble})", "check the path and its permissions"
    if is_folder(path):
        return f"{name!r} is a folder", "name a file in it"
    if not is_folder(path.parent):
        return f"there is no folder {source_of(folder, path.parent)!r}", "check the path; it is relative to the recipe"
    entries, closed = _entries(path.parent, folder)
    if closed:
        return closed, _OPEN_IT
    hint = nearest_file(source_of(folder, path), [source_of(folder, item) for item in entries])
    return f"there is no file {name!r}", hint or "check the path; it is relative to the recipe"


def _entries(around: Path, folder: Path) -> tuple[list[Path], str]:
    try:
        # Without the right to enter, a folder gives the names of its files, but none of them.
        if not os.access(around, os.X_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return [item for item in around.iterdir() if is_file(item)], ""
    except OSError as error:
        return [], f"folder {source_of(folder, around)!r} cannot be read ({error.strerror})"


def _leaves_out(folder: Path, pattern: str) -> bool:
    return pattern.startswith("!") and not (is_file(folder / pattern) or is_folder(folder / pattern))


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


def _files(folder: Path, pattern: str) -> list[str]:
    if is_file(folder / pattern) or is_folder(folder / pattern):  # a name may hold the characters of patterns
        return [str(folder / pattern)] if is_file(folder / pattern) else []
    around = cache(lambda name: str(folder / name))
    # Path.glob refuses absolute patterns and those that go up. Names that begin with a dot are passed over by glob.
    names = map(os.path.split, glob.iglob(pattern, root_dir=folder, recursive=True))  # noqa: PTH207
    places = (os.path.join(around(above), name) for above, name in names if name.casefold() not in _SYSTEM)  # noqa: PTH118
    return list(filter(is_file, places))


def first_below(paths: Iterable[Path | str], folder: Path) -> Path | None:
    """Return the first file that lies below a folder, or named by a link there, whatever the names on the way."""

    @cache
    def is_below(place: str) -> bool:
        real = Path(os.path.realpath(place))
        around = (real, *real.parents)
        return folder in around or (folder.exists() and any(each.exists() and each.samefile(folder) for each in around))

    for path in paths:
        real = [os.path.realpath(path)] if os.path.islink(path) else []  # noqa: PTH114
        if any(is_below(os.path.dirname(place)) for place in (path, *real)):  # noqa: PTH120
            return Path(path)
    return None


def source_of(folder: Path, path: str | Path) -> str:
    """Return a path as the recipe writes it: relative to the recipe, with ``/``."""
    start, name = str(folder) + os.sep, str(path)
    if name.startswith(start) and ".." not in name:
        return name.removeprefix(start).replace(os.sep, "/")
    return Path(os.path.relpath(path, folder)).as_posix()


def _nothing(folder: Path, pattern: str) -> tuple[str, str]:
    if not _MAGIC.search(pattern):
        what, action = missing_file(folder, pattern)
        if what.endswith("is a folder"):
            action = f'write "{pattern.rstrip("/")}/*.png" for the PNG files in it'
        return what, action
    fixed = Path(pattern[: _MAGIC.search(pattern).start()])  # type: ignore[union-attr]
    around = folder / (fixed if pattern[: len(str(fixed)) + 1].endswith(("/", os.sep)) else fixed.parent)
    what, named = f"{pattern!r} matches no file", repr(source_of(folder, around))
    if trouble := trouble_with(around / "."):
        return f"{what}: {named} cannot be read ({trouble})", "check the path"
    if not is_folder(around):
        return f"{what}: there is no folder {named}", "check the path"
    entries, closed = _entries(around, folder)
    if closed:
        return f"{what}: {closed}", _OPEN_IT
    most = Counter(sorted(item.suffix for item in entries if item.suffix)).most_common(4)
    holds = f"; the folder holds {', '.join(f'{count} {ending}' for ending, count in most)}"
    return what, f"check the pattern{holds if most else ', or put the pictures there'}"
