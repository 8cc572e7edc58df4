"""A finding: one thing that ``check`` has to say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Level = Literal["error", "caution", "note"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding. ``where`` is the part of the board it is about, ``message`` one line that says what to do."""

    level: Level
    where: str
    message: str
