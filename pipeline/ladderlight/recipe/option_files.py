"""Files that options of stages name: an option of type ``bytes`` is the content of a file relative to the recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ladderlight.errors import Problem
from ladderlight.recipe.chain import Link
from ladderlight.recipe.files import missing_file
from ladderlight.recipe.language.model import Override
from ladderlight.recipe.source.problems import Report, Where
from ladderlight.system.paths import is_file, reason_of


def with_files(links: Sequence[Link], folder: Path, report: Report) -> list[Link]:
    """Read the files that the options of a chain name, and put their content in the place of the names."""
    read = [read_files(link.options, ("stage", link.place or 0), folder, report) for link in links]
    return [replace(link, options=options) for link, options in zip(links, read, strict=True)]


def override_with_files(
    override: Override, place: int, links: Sequence[Link], folder: Path, report: Report
) -> Override:
    """Do the same for what a ``[[picture]]`` table changes."""
    options = {
        index: read_files(
            changes, ("picture", place, override.keys.get(index, links[index].declaration.name)), folder, report
        )
        for index, changes in override.options.items()
    }
    return replace(override, options=options)


def files_named(given: Mapping[str, Any], folder: Path) -> list[Path]:
    """List the files that options name, before their content is put in the place of the names."""
    return [folder / value.decode("utf-8") for value in given.values() if isinstance(value, bytes)]


def read_files(given: Mapping[str, Any], where: Where, folder: Path, report: Report) -> Mapping[str, Any]:
    """Return options with the content of the files that they name; ``where`` is the options' table."""
    options = dict(given)
    for name, value in given.items():
        if not isinstance(value, bytes):
            continue
        named = value.decode("utf-8")
        try:
            options[name] = (folder / named).read_bytes()
        except OSError as error:
            what, action = missing_file(folder, named)
            if is_file(folder / named):
                what, action = f"{named!r} cannot be read ({reason_of(error)})", "check its permissions"
            report.add(Problem(where=(*where, name), what=what, action=action))
    return options
