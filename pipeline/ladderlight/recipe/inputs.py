"""The files that a build is made from, with digests, so that it can be told later whether any has changed."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from ladderlight.errors import BuildError, Fault
from ladderlight.recipe.files import lies_below, picture_pattern
from ladderlight.recipe.language.model import Recipe
from ladderlight.storage.exports import refuse_others
from ladderlight.system.paths import path_trouble, resolved

Inputs = Sequence[Mapping[str, Any]]


def input_files(recipe: Recipe) -> dict[str, Path]:
    """List the files by their names relative to the recipe: itself, board, plugins, files of options, pictures."""
    paths = (recipe.path, *recipe.named, *recipe.plugins, *(file.path for file in recipe.files))
    return {Path(os.path.relpath(path, recipe.folder)).as_posix(): path for path in paths}


def unreadable_inputs(recipe: Recipe) -> Iterator[Fault]:
    """Yield the input files that cannot be opened."""
    for name, path in input_files(recipe).items():
        try:
            with path.open("rb"):
                pass
        except OSError as error:
            yield Fault(where=name, message=f"cannot be read ({error.strerror}); check its permissions")


def refuse_in_the_way(paths: Iterable[Path], recipe: Recipe, *, command: str, read: Iterable[Path] = ()) -> None:
    """Check that files may be written: see ``refuse_others``, and none may be in the way of the next build.

    Parameters
    ----------
    paths, command
        The files, and the command and its option.
    recipe
        No file may match its patterns for pictures, or be in its output folder.
    read
        Other files that are read.

    Raises
    ------
    BuildError
        With one line for each reason.
    """
    paths = list(paths)
    refuse_others(paths, command=command, inputs=(*read, *input_files(recipe).values()))
    reasons: dict[str, list[Path]] = {}
    for path in paths:
        if lies_below(path, recipe.output) or resolved(path) == resolved(recipe.output):
            reasons.setdefault("is in the output folder, which is for builds", []).append(path)
        elif pattern := picture_pattern(recipe.folder, recipe.patterns, path):
            reasons.setdefault(f"would be a picture of the next build, by {pattern!r}", []).append(path)
    if reasons:
        raise BuildError.of(
            Fault(where=", ".join(map(str, files)), message=f"{reason}; choose another folder")
            for reason, files in reasons.items()
        )


def inputs_of(recipe: Recipe) -> list[dict[str, Any]]:
    """Describe the files for the manifest: ``file``, ``bytes`` and ``sha256`` of each.

    Raises
    ------
    BuildError
        When one cannot be read.
    """
    files = input_files(recipe)
    digests = _digests(list(files.values()))
    return [
        {"file": name, "bytes": size, "sha256": digest} for name, (size, digest) in zip(files, digests, strict=True)
    ]


def changes_since(inputs: Inputs, recipe: Recipe) -> list[str]:
    """Say what is not as a manifest has it, one short sentence each. A file of another size is not read.

    Raises
    ------
    BuildError
        When a file cannot be read.
    """
    files = input_files(recipe)
    before = {str(item["file"]): item for item in inputs}
    same_size = [name for name in files if name in before and _size(files[name]) == before[name]["bytes"]]
    digests = dict(zip(same_size, _digests([files[name] for name in same_size]), strict=True))

    def changes() -> Iterator[str]:
        for name in files:
            if name not in before:
                yield f"{name} is new"
            elif name not in digests or digests[name][1] != before[name]["sha256"]:
                yield f"{name} has changed"
        for name in before:
            if name not in files:
                yield f"{name} is no longer used"
        if not files.keys() ^ before.keys() and list(files) != list(before):
            yield "the pictures have another order"

    return list(changes())


def _digests(paths: Sequence[Path]) -> list[tuple[int, str]]:
    """Return size and SHA-256 of some files, worked out on threads."""
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        return list(pool.map(_digest, paths))


def _digest(path: Path) -> tuple[int, str]:
    with path_trouble(BuildError, path, "cannot be read", "check its permissions"), path.open("rb") as file:
        return os.fstat(file.fileno()).st_size, hashlib.file_digest(file, "sha256").hexdigest()


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return -1
