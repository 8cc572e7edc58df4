"""The other recipes of a folder, as far as their text says; nothing of theirs is run."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from ladderlight.errors import RecipeError
from ladderlight.recipe.boards import board_of
from ladderlight.recipe.language.model import Recipe
from ladderlight.recipe.language.tables import BoardTable
from ladderlight.recipe.source.document import read_document
from ladderlight.stages.validation import as_json

_LARGEST = 1 << 20
"""Bytes of the largest file that is taken for a recipe."""


@dataclass(frozen=True, kw_only=True)
class Neighbour:
    """Another recipe of the folder. ``devices`` are names and parts; None when its board cannot be read."""

    name: str
    output: Path
    devices: frozenset[tuple[str, str]] | None

    def has(self, device: str, part: str) -> bool:
        """Whether it has such a device, or may have one."""
        return self.devices is None or (device, part) in self.devices


def neighbours(recipe: Recipe) -> list[Neighbour]:
    """Return the other recipes of a recipe's folder, by name."""
    return list(_neighbours(recipe.folder, recipe.path))


def _neighbours(folder: Path, path: Path) -> Iterator[Neighbour]:
    for other in sorted(folder.glob("*.toml")):
        if other.resolve() == path.resolve() or not _readable(other):
            continue
        try:
            raw = read_document(other, other.name).data
        except RecipeError:
            yield Neighbour(name=other.name, output=folder / "out", devices=None)
            continue
        if "board" not in raw:  # a board file, or another program's
            continue
        project = raw.get("project")
        named = project.get("output") if isinstance(project, dict) else None
        yield Neighbour(
            name=other.name,
            output=folder / (named if isinstance(named, str) and "\0" not in named else "out"),
            devices=_devices(raw["board"], folder),
        )


def _devices(board: Any, folder: Path) -> frozenset[tuple[str, str]] | None:
    try:
        if isinstance(board, str):
            if not _readable(folder / board):
                return None
            inner = read_document(folder / board, board).data
            board = inner.get("board", inner)
        made = board_of(BoardTable.model_validate_json(as_json(board), strict=True))
    except (RecipeError, ValidationError):
        return None
    return frozenset((device.name, device.part.number) for device in made.devices)


def _readable(path: Path) -> bool:
    try:
        status = path.stat()
    except (OSError, ValueError):
        return False
    return stat.S_ISREG(status.st_mode) and status.st_size <= _LARGEST
