"""A finding of ``check``: an error, a caution or a note."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

Level = Literal["error", "caution", "note"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding. ``where`` is the part of the board it is about, ``message`` one line with what to do."""

    level: Level
    where: str
    message: str


def ranked(findings: Iterable[Finding]) -> list[Finding]:
    """Sort findings by level, the gravest first; within a level they stay in the order given."""
    levels = get_args(Level)
    return sorted(findings, key=lambda finding: levels.index(finding.level))
