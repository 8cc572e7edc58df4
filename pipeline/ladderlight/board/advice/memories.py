"""Findings about the memories' pins and capacity."""

from collections.abc import Iterator

from ladderlight.board.advice.alternatives import smaller_part
from ladderlight.board.advice.checks import MOST_BANK_LINES
from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Signal
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.lookup import lookup_of
from ladderlight.errors import Finding
from ladderlight.units.words import joined, nanoseconds


def findings(board: Board) -> Iterator[Finding]:
    """Yield address pins that are left over, with uses for them, and the number of colours that a look-up shows."""
    for memory in board.memories:
        if memory.address_pins > len(memory.address):
            yield _spare(board, memory, list(range(len(memory.address), memory.address_pins)))
        if memory.tied_pins and _counted(board, memory):
            yield _tied(board, memory)
    lookup = lookup_of(board)
    if lookup is not None and lookup.size < len(board.palette):
        shown = f"colour look-up shows {lookup.size} of {len(board.palette)} colours"
        own = any(line.signal is Signal.BANK for table in lookup.tables for line in board.address_lines(table))
        yield Finding.note(
            "memory " + joined([table.name for table in lookup.tables]),
            f"{shown} at a time; reduce each picture to as many"
            if own or board.bank_count == 1
            else f"{shown}, the same in all banks; reduce all pictures together to as many, or give it bank lines",
        )


def _spare(board: Board, memory: Memory, spare: list[int]) -> Finding:
    what = f"A{spare[0]} to A{spare[-1]} are" if len(spare) > 1 else f"A{spare[0]} is"
    ways = ["tie it to ground" if len(spare) == 1 else "tie them to ground"]
    if _counted(board, memory):
        ways += _banks(board, len(spare))
    ways += _smaller(board, memory, len(memory.address))
    return Finding.note(
        f"memory {memory.name}", f"address pin{'s' * (len(spare) > 1)} {what} left over; {joined(ways, 'or')}"
    )


def _tied(board: Board, memory: Memory) -> Finding:
    tied = len(memory.tied_pins)
    ways = _banks(board, tied) + _smaller(board, memory, len(memory.address) - tied)
    return Finding.note(
        f"memory {memory.name}",
        f"address pin{'s' * (tied > 1)} {joined([f'A{pin}' for pin in memory.tied_pins])} "
        f"{'are' if tied > 1 else 'is'} tied, so {memory.words - (memory.words >> tied):,} of {memory.words:,} "
        f"words are never read; {joined(ways or ['leave them out'], 'or')}",
    )


def _smaller(board: Board, memory: Memory, pins: int) -> list[str]:
    """Return the smaller part that would do, with the grade that it needs, as an imperative; none where none would."""
    found = smaller_part(board, memory, pins) if memory.chips == 1 else None
    if found is None:
        return []
    part, grade = found
    return [f"use a {part.number}" + (f" of {nanoseconds(grade)}".replace(".0 ", " ") if grade else "")]


def _banks(board: Board, pins: int) -> list[str]:
    """Return the bank lines that so many pins could take, as an imperative; none when too few lines are left."""
    free = [index for index in range(MOST_BANK_LINES) if index not in board.bank_lines][:pins]
    if len(free) < pins:
        return []
    lines = joined([f"bank{index}" for index in free])
    if pins > 1 and free[-1] - free[0] == pins - 1:
        lines = f"bank{free[0]} to bank{free[-1]}"
    return [f"wire {lines} there for {board.bank_count << pins} banks instead of {board.bank_count}"]


def _counted(board: Board, memory: Memory) -> bool:
    """Whether a memory holds places of the picture, so that bank lines can choose among several."""
    counted = any(line.signal in (Signal.X, Signal.Y) for line in board.address_lines(memory))
    return counted and memory in board.picture_memories
