"""What advice says about boards."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from ladderlight.board import Board, Finding
from ladderlight.board.advice import findings


@pytest.fixture
def said() -> Callable[[Board, str], list[Finding]]:
    """Give the findings about one part of a board."""

    def about(board: Board, where: str) -> list[Finding]:
        return [finding for finding in findings(board) if finding.where == where]

    return about
