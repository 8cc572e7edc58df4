"""The other recipes of a folder, as far as their text shows; nothing of theirs is run."""

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from ladderlight.errors import RecipeError
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import mark_of

_LARGEST = 1 << 20  # bytes of the largest file that is taken for a recipe


class Neighbour(Frozen):
    """Another recipe of a folder, by its path; what it holds is read when it is first asked for."""

    path: Path

    @property
    def name(self) -> str:
        """The file's name."""
        return self.path.name

    @cached_property
    def raw(self) -> Mapping[str, Any]:
        """What the file holds; a board that is not known where it cannot be read."""
        from ladderlight.recipe.source.document import read_document

        try:
            return read_document(self.path, self.name).data
        except RecipeError:
            return {"board": None}

    @property
    def outputs(self) -> tuple[Path, ...]:
        """Its output folders, one for each revision."""
        project = self.raw.get("project")
        named = project.get("output") if isinstance(project, dict) else None
        top = self.path.parent / (named if isinstance(named, str) and "\0" not in named else "out")
        return tuple(top / name for name in self._revisions) or (top,)

    @cached_property
    def devices(self) -> frozenset[tuple[str, str]] | None:
        """Names and parts of its devices, in any revision; None when a board cannot be read."""
        found = [self._devices(board) for board in self._revisions.values() or (self.raw.get("board"),)]
        return None if None in found else frozenset().union(*filter(None, found))

    @property
    def _revisions(self) -> Mapping[str, Any]:
        written = self.raw.get("revisions")
        names = written if isinstance(written, dict) else {}
        return {name: file for name, file in names.items() if "\0" not in name}

    def _devices(self, board: Any) -> frozenset[tuple[str, str]] | None:
        from pydantic import ValidationError

        from ladderlight.recipe.boards import board_of
        from ladderlight.recipe.language.tables import BoardTable
        from ladderlight.recipe.source.document import read_document
        from ladderlight.stages.validation import as_json

        try:
            if isinstance(board, str) and _readable(self.path.parent / board):
                inner = read_document(self.path.parent / board, board).data
                board = inner.get("board", inner)
            made = board_of(BoardTable.model_validate_json(as_json(board), strict=True))
        except (RecipeError, ValidationError):
            return None
        return frozenset((device.name, device.part.number) for device in made.devices)

    def has(self, device: str, part: str) -> bool:
        """Whether it has such a device, or may have one."""
        return self.devices is None or (device, part) in self.devices


def neighbours_of(recipe: Path) -> tuple[Neighbour, ...]:
    """Return the other recipes of the folder of a recipe's file, by name."""
    others = sorted(recipe.parent.glob("*.toml"))
    found = (Neighbour(path=other) for other in others if other.resolve() != recipe.resolve() and _readable(other))
    # Without these it is a board file, or another program's.
    return tuple(other for other in found if {"board", "revisions"} & other.raw.keys())


def _readable(path: Path) -> bool:
    mark = mark_of(path)
    return mark is not None and mark[0] <= _LARGEST
