"""Findings about what the board puts out during blanking."""

from __future__ import annotations

from collections.abc import Iterator

from ladderlight.board.board import Board
from ladderlight.board.findings import Finding


def findings(board: Board) -> Iterator[Finding]:
    """Say when nothing keeps the board dark outside the picture."""
    if board.blanking == "none":
        yield Finding(
            level="caution",
            where="blanking",
            message="nothing darkens the outputs during blanking, and a monitor that takes its black level there shows "
            "wrong colours; gate the outputs, or see that the words read then are black",
        )
