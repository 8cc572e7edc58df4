"""Findings about the memories' pins and capacity."""

from __future__ import annotations

from collections.abc import Iterator

from ladderlight.board.board import Board
from ladderlight.board.findings import Finding
from ladderlight.board.fitting import smallest_part
from ladderlight.board.lines import Signal
from ladderlight.board.lookup import lookup_of
from ladderlight.board.memory import Memory
from ladderlight.board.quantities import joined


def findings(board: Board) -> Iterator[Finding]:
    """Say which address pins are left over and what they could do, and how many colours a look-up shows."""
    for memory in board.memories:
        spare = memory.address_pins - len(memory.address)
        if spare:
            yield _spare(board, memory, spare)
    lookup = lookup_of(board)
    if lookup is not None and lookup.size < len(board.palette):
        shown = f"colour look-up shows {lookup.size} of {len(board.palette)} colours"
        own = any(line.signal is Signal.BANK for table in lookup.tables for line in board.address_lines(table))
        yield Finding(
            level="note",
            where="memory " + joined([table.name for table in lookup.tables]),
            message=f"{shown} at a time; reduce each picture to as many"
            if own or board.bank_count == 1
            else f"{shown}, the same in all banks; reduce all pictures together to as many, or give it bank lines",
        )


def _spare(board: Board, memory: Memory, spare: int) -> Finding:
    pins = [f"A{pin}" for pin in range(len(memory.address), memory.address_pins)]
    what = f"{pins[0]} to {pins[-1]} are" if spare > 1 else f"{pins[0]} is"
    ways = ["tie it to ground" if spare == 1 else "tie them to ground"]
    first = _next_bank(board)
    if first + spare <= 16 and _counted(board, memory):
        lines = f"bank{first}" if spare == 1 else f"bank{first} to bank{first + spare - 1}"
        ways.append(f"wire {lines} there for {board.bank_count << spare} banks instead of {board.bank_count}")
    smaller = smallest_part(memory, len(memory.address)) if memory.chips == 1 else None
    if smaller is not None and smaller.words < memory.part.words:
        ways.append(f"use a {smaller.number}")
    return Finding(
        level="note",
        where=f"memory {memory.name}",
        message=f"address pin{'s' * (spare > 1)} {what} left over; {joined(ways, 'or')}",
    )


def _next_bank(board: Board) -> int:
    lines = (line for memory in board.memories for line in board.address_lines(memory))
    return max((line.index + 1 for line in lines if line.signal is Signal.BANK), default=0)


def _counted(board: Board, memory: Memory) -> bool:
    return any(line.signal in (Signal.X, Signal.Y) for line in board.address_lines(memory))
