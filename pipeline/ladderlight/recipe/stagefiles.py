"""Files that options of stages name: an option of type ``bytes`` is the content of a file relative to the recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ladderlight.errors import Problem
from ladderlight.recipe.chain import Link
from ladderlight.recipe.files import missing_file
from ladderlight.recipe.report import Report


def with_files(links: Sequence[Link], folder: Path, report: Report) -> list[Link]:
    """Read the files that the options of a chain name, and put their content in the place of the names."""
    return [replace(link, options=_read(link, folder, report)) for link in links]


def _read(link: Link, folder: Path, report: Report) -> Mapping[str, Any]:
    options = dict(link.options)
    for name, value in link.options.items():
        if not isinstance(value, bytes):
            continue
        named = value.decode("utf-8")
        try:
            options[name] = (folder / named).read_bytes()
        except OSError as error:
            what, action = missing_file(folder, named)
            if (folder / named).is_file():
                what, action = f"{named!r} cannot be read ({error.strerror})", "check its permissions"
            report.add(Problem(where=("stage", link.place or 0, name), what=what, action=action))
    return options
