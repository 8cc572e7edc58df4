"""A recipe that has been read and found good."""

from collections.abc import Mapping
from dataclasses import field
from functools import cached_property
from pathlib import Path
from typing import Any

from ladderlight.board import Board, Finding
from ladderlight.colour.viewing import Viewing
from ladderlight.errors import is_refused
from ladderlight.recipe.files import PictureFile
from ladderlight.recipe.neighbours import Neighbour, neighbours_of
from ladderlight.stages.chain import takes_pictures
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.storage.record import Owner
from ladderlight.system.value import Value

CARDS_SUFFIX = "-cards"
"""Of the output folder of a build of cards instead of pictures."""


class StageUse(Value):
    """One step of the chain with all its options: those that the recipe gives, and the others' defaults."""

    declaration: StageDeclaration
    options: Mapping[str, Any]

    def __post_init__(self) -> None:
        object.__setattr__(self, "options", self.declaration.complete(self.options))


class CardUse(StageUse):
    """One test card with all its options, and the bank and tray that the recipe gives it, or None."""

    bank: int | None = None
    tray: int | None = None


class Override(Value):
    """What a ``[[picture]]`` table changes: options by the stage's index in the chain, bank and tray."""

    files: frozenset[PictureFile]
    """The pictures that its pattern fits, by file name or by path relative to the recipe."""
    bank: int | None
    options: Mapping[int, Mapping[str, Any]]
    tray: int | None = None
    keys: Mapping[int, str] = field(default_factory=dict)
    """The keys under which the options stand, by the same index: the stage's name, or ``plugin.stage``."""


class Recipe(Value):
    """A whole recipe, checked. It can be pickled, for work in other processes."""

    path: Path
    folder: Path
    name: str
    output: Path
    """Absolute, with links followed."""
    named_output: str = "out"
    """The output folder as the recipe has it."""
    revision: str | None = None
    """Which of the recipe's boards this is for; None where it has one only."""
    revisions: tuple[str, ...] = ()
    """All that the recipe has."""
    board: Board
    files: tuple[PictureFile, ...]
    """In the order in which they are built."""
    chain: tuple[StageUse, ...]
    overrides: tuple[Override, ...] = ()
    cards: tuple[CardUse, ...] = ()
    """Test cards, which stand after the files."""
    per_tray: int | None = None
    """How many pictures are dealt to each tray; None where all go into one set of chips."""
    viewing: Viewing = field(default_factory=Viewing)
    """From where the screen is looked at."""
    plugins: tuple[Path, ...] = ()
    """The project's own Python files, absolute."""
    patterns: tuple[str, ...] = ()
    """For the files of the pictures, as the recipe has them."""
    named: tuple[Path, ...] = ()
    """Other files that the recipe names: its board's, and those of options."""
    cautions: tuple[Finding, ...] = ()
    """What was found in reading it that does not stop a build."""

    def __getstate__(self) -> dict[str, Any]:
        """Return the fields, with what was found on the board, which takes longer to find than to read."""
        return {**super().__getstate__(), "findings": self.findings}

    @property
    def title(self) -> str:
        """The project's name, with the revision."""
        return self.name if self.revision is None else f"{self.name}, revision {self.revision}"

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What there is to say of the board before it is built, errors first."""
        from ladderlight.board.advice import findings

        return tuple(findings(self.board))

    @cached_property
    def neighbours(self) -> tuple[Neighbour, ...]:
        """The other recipes of its folder."""
        return neighbours_of(self.path)

    @property
    def board_works(self) -> bool:
        """Whether no finding on the board is an error."""
        return not is_refused(self.findings)

    @property
    def takes_pictures(self) -> bool:
        """Whether the chain is for pictures."""
        return takes_pictures(use.declaration for use in self.chain)

    @property
    def around(self) -> Path | None:
        """The folder around those of the revisions, where there are several."""
        return None if self.revision is None else self.output.parent

    @property
    def owner(self) -> Owner:
        """Whose the output folder is."""
        return Owner(recipe=self.path, project=self.name)

    def options_for(self, file: PictureFile, index: int) -> Mapping[str, Any]:
        """Return the options of a stage of the chain for one picture; a later override wins."""
        options = dict(self.chain[index].options)
        for override in self.overrides:
            if index in override.options and file in override.files:
                options |= override.options[index]
        return options

    def bank_for(self, file: PictureFile) -> int | None:
        """Return the bank that the recipe gives it, or None."""
        return next((one.bank for one in self.overrides[::-1] if one.bank is not None and file in one.files), None)

    def tray_for(self, file: PictureFile) -> int | None:
        """Return the tray that the recipe gives it, or None."""
        return next((one.tray for one in self.overrides[::-1] if one.tray is not None and file in one.files), None)
