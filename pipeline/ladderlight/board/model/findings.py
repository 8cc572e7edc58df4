"""A finding of ``check``: an error, a caution or a note."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, Self, get_args

from ladderlight.errors import BuildError, Fault

Level = Literal["error", "caution", "note"]


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


def ranked(findings: Iterable[Finding]) -> list[Finding]:
    """Sort findings by level, the gravest first; within a level they stay in the order given."""
    levels = get_args(Level)
    return sorted(findings, key=lambda finding: levels.index(finding.level))


def refuse_errors(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings, the gravest first.

    Raises BuildError when there are errors among them.
    """
    ordered = tuple(ranked(findings))
    if is_refused(ordered):
        raise BuildError.of(Fault(where=one.where, message=one.message) for one in ordered if one.level == "error")
    return ordered


def is_refused(findings: Iterable[Finding]) -> bool:
    """Whether there are errors among findings."""
    return any(one.level == "error" for one in findings)
