"""How much of a file a stage needs, for stages that neither cut nor enlarge."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ladderlight import Board, Demand


def as_demanded(demand: Demand, _board: Board, _options: Mapping[str, Any]) -> Demand:
    """Give the size that the next stage wants: this one works on what it is given, of any size."""
    return demand
