"""All errors of a recipe, gathered while it is read, and given their places in the files."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ladderlight.board import Finding
from ladderlight.errors import Fault, Problem
from ladderlight.recipe.source.document import Document
from ladderlight.stages.validation import KeyName

Where = tuple[str | int, ...]


@dataclass(kw_only=True)
class Report:
    """Problems of a recipe and of the board file that it names, if it does."""

    recipe: Document
    board: Document | None = None
    board_prefix: Where = ()
    """Path of the board's table in the board file."""
    unreadable: list[Fault] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    """With paths in the recipe as it is meant."""
    problems_as_written: list[Problem] = field(default_factory=list)
    """With paths in the recipe as it is written."""
    moves: Mapping[Where, Where] = field(default_factory=dict)
    """From a path as it is meant to the one that is written, where they differ."""
    places: Mapping[Where, Where] = field(default_factory=dict)
    """From a path in the recipe as a revision has it to the one in its file, where they differ."""
    cautions: list[Finding] = field(default_factory=list)
    """What does not stop a build."""
    named: list[Path] = field(default_factory=list)
    """The files that options name."""

    def add(self, where: Where, what: str, action: str) -> None:
        """Note a problem."""
        self.problems.append(Problem(where=where, what=what, action=action))

    def add_as_written(self, where: Where, what: str, action: str) -> None:
        """Note a problem of the file, whichever of its tables a revision has."""
        self.unreadable.append(_fault(self.recipe, where, f"{what}; {action}")[-1])

    def warn(self, where: str, message: str) -> None:
        """Note a caution, once."""
        caution = Finding(level="caution", where=where, message=message)
        if caution not in self.cautions:
            self.cautions.append(caution)

    def add_all(self, problems: Iterable[Problem], where: Where = ()) -> None:
        """Note problems whose paths are relative to ``where``."""
        self.problems += [replace(problem, where=(*where, *problem.where)) for problem in problems]

    def has(self, *where: str | int) -> bool:
        """Whether anything is wrong at or below a path."""
        return any(problem.where[: len(where)] == where for problem in self.problems)

    def below(self, key: str) -> list[Problem]:
        """Return the problems below a key, with their paths relative to it."""
        return [replace(p, where=p.where[1:]) for p in self.problems if p.where[:1] == (key,)]

    @property
    def faults(self) -> list[Fault]:
        """All problems with their places as ``file:line:column``, by file and line, each once."""
        placed: list[tuple[bool, int, int, Fault]] = []
        everything = [(problem, problem.where) for problem in self.problems_as_written]
        everything += [(problem, self._written(problem.where)) for problem in self.problems]
        for problem, path in everything:
            document, where = self._home(path)
            placed.append((document is not self.recipe, *_fault(document, where, str(problem))))
        placed.sort(key=lambda item: item[:3])
        return [*dict.fromkeys(fault for *_, fault in placed), *self.unreadable]

    def _written(self, where: Where) -> Where:
        for length in range(len(where), 0, -1):
            if (found := self.moves.get(where[:length])) is not None:
                *way, last = found
                if length == len(where) and isinstance(where[-1], KeyName) and isinstance(last, str):
                    return (*way, KeyName(last))
                return (*found, *where[length:])
        return where

    def _home(self, where: Where) -> tuple[Document, Where]:
        if self.board is not None and where[:1] == ("board",):
            return self.board, (*self.board_prefix, *where[1:])
        for length in (2, 1):
            if place := self.places.get(where[:length]):
                return self.recipe, (*place, *where[length:])
        return self.recipe, where


def _fault(document: Document, where: Where, message: str) -> tuple[int, int, Fault]:
    line, column = document.positions.of(where)
    return line, column, Fault(where=f"{document.shown}:{line}:{column}", message=message)


def tables(raw: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    """Return the tables of a list of tables; an empty one in place of what is not a table."""
    return [item if isinstance(item, dict) else {} for item in listed(raw, key)]


def listed(raw: Mapping[str, Any], *where: str) -> list[Any]:
    """Return the list that stands at a path of plain TOML data; an empty one in place of anything else."""
    written = dig(raw, *where)
    return written if isinstance(written, list) else []


def dig(raw: Mapping[str, Any], *where: str | int) -> Any:
    """Return what stands at a path of plain TOML data, or None."""
    value: Any = raw
    for part in where:
        try:
            value = value[part]
        except (KeyError, IndexError, TypeError):
            return None
    return value
