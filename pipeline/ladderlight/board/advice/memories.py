"""Findings about the memories' pins and capacity."""

from __future__ import annotations

from collections.abc import Iterator

from ladderlight.board.board import Board
from ladderlight.board.findings import Finding


def findings(board: Board) -> Iterator[Finding]:
    """Say which address pins are left over."""
    for memory in board.memories:
        spare = range(len(memory.address), memory.address_pins)
        if spare:
            pins = f"A{spare[0]} to A{spare[-1]} are" if len(spare) > 1 else f"A{spare[0]} is"
            yield Finding(
                level="note",
                where=f"memory {memory.name}",
                message=f"{pins} not driven; tie to ground, or wire bank lines there for {1 << len(spare)} times as "
                "many pictures",
            )
