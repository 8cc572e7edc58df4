"""A recipe that has been read and found good."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from ladderlight.board import Board
from ladderlight.stages import StageDeclaration
from ladderlight.viewing import Viewing


@dataclass(frozen=True, kw_only=True)
class PictureFile:
    """One picture file: where it is, and how the recipe names it, relative to the recipe and with ``/``."""

    path: Path
    source: str


@dataclass(frozen=True, kw_only=True)
class StageUse:
    """One step of the chain with the options that the recipe gives; the others have their defaults."""

    declaration: StageDeclaration
    options: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Override:
    """What a ``[[picture]]`` table changes: options by the stage's index in the chain, and the bank."""

    match: str
    bank: int | None
    options: Mapping[int, Mapping[str, Any]]

    def applies_to(self, file: PictureFile) -> bool:
        """Whether the pattern fits the file's name or its path relative to the recipe."""
        return any(fnmatchcase(text, self.match) for text in (file.source.rpartition("/")[2], file.source))


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """Everything that a recipe says, checked."""

    path: Path
    folder: Path
    name: str
    output: Path
    """Absolute."""
    board: Board
    files: tuple[PictureFile, ...]
    """In the order in which they are built."""
    chain: tuple[StageUse, ...]
    overrides: tuple[Override, ...] = ()
    viewing: Viewing = field(default_factory=Viewing)
    """From where the screen is looked at."""
    plugins: tuple[Path, ...] = ()
    """The project's own Python files, absolute."""
    patterns: tuple[str, ...] = ()
    """For the files of the pictures, as the recipe has them."""
    named: tuple[Path, ...] = ()
    """Other files that the recipe names: its board's, and those of options."""

    def options_for(self, file: PictureFile, index: int) -> Mapping[str, Any]:
        """Give the options of a stage of the chain for one picture; a later override wins."""
        options = dict(self.chain[index].options)
        for override in self.overrides:
            if index in override.options and override.applies_to(file):
                options |= override.options[index]
        return options

    def bank_for(self, file: PictureFile) -> int | None:
        """Give the bank that the recipe asks for, or None."""
        banks = [o.bank for o in self.overrides if o.bank is not None and o.applies_to(file)]
        return banks[-1] if banks else None
