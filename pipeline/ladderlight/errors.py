"""Errors that a user can correct, each class with its exit status, and problems and findings: one line each."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, Self, get_args

Level = Literal["error", "caution", "note"]


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One thing that is wrong. ``where`` is its path in the recipe, as ``("board", "memory", 0, "address")``."""

    where: tuple[str | int, ...]
    what: str
    action: str
    certain: bool = True
    """False where it depends on what is not known yet: a caution, not an error."""

    @classmethod
    def of(cls, error: "LadderlightError", *where: str | int) -> Self:
        """Make a problem of an error's text, ``what; what to do``."""
        what, _, action = str(error).partition("; ")
        return cls(where=where, what=what, action=action)

    def __str__(self) -> str:
        """Return the message without its place."""
        return f"{self.what}; {self.action}" if self.action else self.what


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding. ``where`` is the part of the board it is about, ``message`` one line with what to do."""

    level: Level
    where: str
    message: str

    @classmethod
    def error(cls, where: str, message: str) -> Self:
        """Return what stops a build."""
        return cls(level="error", where=where, message=message)

    @classmethod
    def caution(cls, where: str, message: str) -> Self:
        """Return what may go wrong."""
        return cls(level="caution", where=where, message=message)

    @classmethod
    def note(cls, where: str, message: str) -> Self:
        """Return what is good to know."""
        return cls(level="note", where=where, message=message)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing that went wrong. ``where`` is a file, a place in it or a part of the board, or empty."""

    where: str
    message: str

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message


class LadderlightError(Exception):
    """An expected error. Its text is one line for each fault: what is wrong, where, and what to do.

    ``where`` is the file, the place in it, or the part of the board that is meant; it is printed before the message.
    """

    exit_status = 1
    faults: tuple[Fault, ...]

    def __init__(self, message: str, *, where: object = "") -> None:
        self._take([Fault(where=str(where), message=message)])

    @classmethod
    def of(cls, faults: Iterable[Fault]) -> Self:
        """Return one error of several faults."""
        error = cls.__new__(cls)
        error._take(faults)  # noqa: SLF001 - of its own class
        return error

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self).of, (self.faults,)

    def _take(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


class UsageError(LadderlightError):
    """The command was called wrongly."""

    exit_status = 2


class BoardError(LadderlightError):
    """The board as declared cannot work; all the reasons at once."""


class RecipeError(LadderlightError):
    """A recipe has errors: all of them, each fault's place as ``file:line:column``."""


class PictureError(LadderlightError):
    """One picture cannot be used; a build goes on with the others and lists them all."""


class ArrangementError(LadderlightError):
    """Pictures do not fit into the board's memories, or two of them need different words at one address."""


class DeviceFileError(LadderlightError):
    """A device file cannot be written as asked, or does not hold what its device needs."""


class DocumentError(LadderlightError):
    """A document that is kept between commands, such as the manifest, is damaged or cannot be read."""


class PluginError(LadderlightError):
    """A plugin cannot be used as it is."""


class BuildError(LadderlightError):
    """A build failed, or its output cannot be used."""


class StageFailure(Exception):  # noqa: N818 - a bug of a stage, not an expected error
    """A stage raised something unexpected. Names the stage and the plugin it came from."""


def ranked(findings: Iterable[Finding]) -> list[Finding]:
    """Sort findings by level, the gravest first; within a level they stay in the order given."""
    return sorted(findings, key=lambda finding: get_args(Level).index(finding.level))


def refuse_errors(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings, the gravest first. Raises BuildError when there are errors among them."""
    ordered = tuple(ranked(findings))
    if is_refused(ordered):
        raise BuildError.of(Fault(where=one.where, message=one.message) for one in ordered if one.level == "error")
    return ordered


def is_refused(findings: Iterable[Finding]) -> bool:
    """Whether there are errors among findings."""
    return any(one.level == "error" for one in findings)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that differs in upper and lower case only, or else the most similar; None when none is."""
    from difflib import get_close_matches

    known = sorted(known)
    same = [other for other in known if other.casefold() == word.casefold()]
    return next(iter(same or get_close_matches(word, known, n=1, cutoff=0.6)), None)


def nearest_word(word: str, known: Iterable[str]) -> str:
    """Return the hint ``did you mean 'x'?``, or the list of what is known when nothing is near."""
    known = sorted(known)
    near = nearest(word, known)
    if near:
        return f"did you mean {near!r}?"
    return f"use {'one of ' * (len(known) > 1)}{', '.join(known)}" if known else "leave it out"
