"""The files that a build is made from, with digests, so that it can be told later whether any has changed."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any

from ladderlight.cache.marks import Seen
from ladderlight.errors import BuildError, Fault
from ladderlight.recipe.files import first_below, picture_pattern, source_of
from ladderlight.recipe.language.model import Recipe
from ladderlight.storage.exports import export, refuse_others
from ladderlight.storage.stopping import side_by_side
from ladderlight.system.paths import mark_of, path_trouble, resolved

Inputs = Sequence[Mapping[str, Any]]


def input_files(recipe: Recipe) -> dict[str, str]:
    """List the files by their names relative to the recipe: itself, board, plugins, files of options, pictures."""
    own = {source_of(recipe.folder, path): str(path) for path in (recipe.path, *recipe.named, *recipe.plugins)}
    return own | {file.source: file.place for file in recipe.files}


def unreadable_inputs(recipe: Recipe) -> Iterator[Fault]:
    """Yield the input files that cannot be opened."""
    for name, path in input_files(recipe).items():
        try:
            Path(path).open("rb").close()
        except OSError as error:
            yield Fault(where=name, message=f"cannot be read ({error.strerror}); check its permissions")


def writer_of(
    paths: Iterable[Path], *recipes: Recipe, command: str, read: Iterable[Path] = ()
) -> Callable[[Mapping[Path, bytes]], None]:
    """Check that files may be written, and return what writes them: see ``refuse_others`` and ``export``.

    None may be in the way of the next build: match a recipe's patterns for pictures, or be in its output folder.
    ``read`` are other files that are read. Raises BuildError with one line for each reason.
    """
    paths, inputs = list(paths), [*read, *(Path(place) for recipe in recipes for place in input_files(recipe).values())]
    refuse_others(paths, command=command, inputs=inputs)
    reasons: dict[str, list[Path]] = {}
    for path, recipe in product(paths, recipes):
        if first_below([path], recipe.output) or resolved(path) == resolved(recipe.output):
            reasons.setdefault("is in the output folder, which is for builds", []).append(path)
        elif pattern := picture_pattern(recipe.folder, recipe.patterns, path):
            reasons.setdefault(f"would be a picture of the next build, by {pattern!r}", []).append(path)
    if reasons:
        raise BuildError.of(
            Fault(where=", ".join(map(str, dict.fromkeys(files))), message=f"{reason}; choose another folder")
            for reason, files in reasons.items()
        )
    return partial(export, command=command, inputs=inputs)


def seen_inputs(files: Mapping[str, str], known: Mapping[str, Seen]) -> dict[str, Seen]:
    """Look at the files of :func:`input_files`; those that are as they are known to have been are not read.

    Raises BuildError when one cannot be read.
    """
    same = {name: known[name] for name, path in files.items() if name in known and known[name].is_surely(path)}
    others = [name for name in files if name not in same]
    same |= zip(others, side_by_side(_seen, [files[name] for name in others]), strict=True)
    return {name: same[name] for name in files}


def changes_since(inputs: Inputs, recipe: Recipe) -> list[str]:
    """Return what is not as a manifest has it, one short sentence each. Raises BuildError when a file is unreadable."""
    files = input_files(recipe)
    before = {str(item["file"]): item for item in inputs}
    marks = {name: mark_of(path) for name, path in files.items() if name in before}
    same_size = {name: files[name] for name, mark in marks.items() if mark and mark[0] == before[name]["bytes"]}
    seen = dict(zip(same_size, side_by_side(_seen, same_size.values()), strict=True))

    def changes() -> Iterator[str]:
        for name in files:
            if name not in before:
                yield f"{name} is new"
            elif name not in seen or seen[name].sha256 != before[name]["sha256"]:
                yield f"{name} has changed"
        for name in before:
            if name not in files:
                yield f"{name} is no longer used"
        if not files.keys() ^ before.keys() and list(files) != list(before):
            yield "the pictures have another order"

    return list(changes())


def _seen(path: str) -> Seen:
    with path_trouble(BuildError, path, "cannot be read", "check its permissions"):
        return Seen.now(path)
