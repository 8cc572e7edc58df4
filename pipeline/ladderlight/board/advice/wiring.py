"""Findings about the wiring of addresses: words for every pixel, proportions, and pins that are left over."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ladderlight.board.advice.alternatives import Start, size_of, smaller_part, square_starts
from ladderlight.board.advice.checks import MOST_BANK_LINES
from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Signal
from ladderlight.board.model.memory import Memory
from ladderlight.board.scanning.lookup import lookup_of
from ladderlight.board.scanning.scan import scan
from ladderlight.board.scanning.separation import Counts, separating_bits
from ladderlight.errors import Finding
from ladderlight.units.words import joined, nanoseconds

SQUARE = 0.01
"""Deviation of the pixel aspect up to which pixels pass as square."""


def twins(board: Board) -> tuple[tuple[int, int], tuple[int, int], int] | None:
    """Return two picture pixels (x, y) that read the same words, and the number of pixels without words of their own.

    All memories of the picture count, those that another memory addresses with the counters' part of their address.
    """
    blank = {memory.name: np.zeros(memory.words, dtype=np.uint32) for memory in board.memories}
    result = scan(board, blank, board.x_grid.samples[None, :], board.y_grid.samples[:, None], 0)
    key = np.zeros(result.codes.size, dtype=np.int64)
    for memory in board.picture_memories:
        slots = memory.packing.pixels
        place = result.addresses[memory.name].ravel() * slots + result.slots[memory.name].ravel()
        _, compact = np.unique(place, return_inverse=True)
        _, key = np.unique(key * (int(compact.max()) + 1) + compact, return_inverse=True)
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    lacking = key.size - first.size
    if not lacking:
        return None
    later = int(np.flatnonzero(first[inverse] != np.arange(key.size))[0])
    width = board.geometry.width
    earlier = int(first[inverse[later]])
    return (earlier % width, earlier // width), (later % width, later // width), lacking


def repeat_findings(board: Board) -> Iterator[Finding]:
    """Yield places of the screen that cannot differ."""
    found = twins(board)
    if found is None:
        return
    first, second, lacking = found
    geometry = board.geometry

    def counts(pixel: tuple[int, int]) -> Counts:
        return int(board.x_grid.samples[pixel[0]]), int(board.y_grid.samples[pixel[1]]), 0

    bits = separating_bits(board, counts(first), counts(second), board.picture_memories)
    action = f"wire {joined(bits, 'or')} too" if bits else "check the gates and constants in the addresses"
    coarser = _coarser(board)
    yield Finding.caution(
        "picture",
        f"the picture does not fit: {lacking:,} of {geometry.width}x{geometry.height} pixels have no word of "
        f"their own, and {second} always shows what {first} shows; {action}"
        + (f", or use larger pixels: {coarser}" if coarser else ""),
    )


def _coarser(board: Board) -> str:
    """Return the sizes that the address lines of today would hold, if shifted up to larger pixels."""
    now = board.geometry
    lines = {line.name for memory in board.picture_memories for line in board.address_lines(memory)}
    texts = []
    axes = (("x", "width", board.x_shift, board.x_grid), ("y", "height", board.y_shift, board.y_grid))
    for signal, length, shift, grid in axes:
        wired = [int(name[1:]) for name in lines if name[:1] == signal and name[1:].isdigit()]
        needed = int(grid.counts.max()).bit_length()
        missing = needed - 1 - max(wired, default=needed)
        if missing > 0 and len(wired) == max(wired) - min(wired) + 1:
            smaller = (int(grid.counts.max()) >> shift + missing) - (int(grid.counts.min()) >> shift + missing) + 1
            aspect = now.pixel_aspect * (2.0**missing if signal == "x" else 0.5**missing)
            then = replace(now, **{length: smaller}, pixel_aspect=aspect)
            texts.append(f"{signal}{min(wired) + missing}-{signal}{needed - 1} gives {size_of(then)}")
    return joined(texts, "or")


def proportion_findings(board: Board) -> Iterator[Finding]:
    """Yield a note on pixels that are not square, with the counter bits that make them so."""
    aspect = board.geometry.pixel_aspect
    if abs(aspect - 1) <= SQUARE:
        return
    starts = square_starts(board)
    remedy = "no other counter bits bring them closer to square; choose another clock or mode"
    if starts:
        wish = "square pixels" if abs(starts[0].geometry.pixel_aspect - 1) <= SQUARE else "the nearest to square"
        remedy = f"for {wish} start {joined([_start_in_words(board, start) for start in starts], 'or')}"
    message = f"pixels are {aspect:.3g} times as wide as high, which the resize stage allows for; {remedy}"
    yield Finding.note("picture", message)


def _start_in_words(board: Board, start: Start) -> str:
    signal, shift, by = ("x", board.x_shift, start.x) if start.x else ("y", board.y_shift, start.y)
    lines = f"{abs(by)} {'more' if by < 0 else 'fewer'} address line{'s' * (abs(by) > 1)}"
    return f"{signal} at {signal}{shift + by} ({size_of(start.geometry)}, {lines})"


def memory_findings(board: Board) -> Iterator[Finding]:
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
        ways += _more_banks(board, len(spare))
    ways += _smaller(board, memory, len(memory.address))
    message = f"address pin{'s' * (len(spare) > 1)} {what} left over; {joined(ways, 'or')}"
    return Finding.note(f"memory {memory.name}", message)


def _tied(board: Board, memory: Memory) -> Finding:
    tied = len(memory.tied_pins)
    ways = _more_banks(board, tied) + _smaller(board, memory, len(memory.address) - tied)
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


def _more_banks(board: Board, pins: int) -> list[str]:
    free = [index for index in range(MOST_BANK_LINES) if index not in board.bank_lines][:pins]
    if len(free) < pins:
        return []
    lines = joined([f"bank{index}" for index in free])
    if pins > 1 and free[-1] - free[0] == pins - 1:
        lines = f"bank{free[0]} to bank{free[-1]}"
    return [f"wire {lines} there for {board.bank_count << pins} banks instead of {board.bank_count}"]


def _counted(board: Board, memory: Memory) -> bool:
    counted = any(line.signal in (Signal.X, Signal.Y) for line in board.address_lines(memory))
    return counted and memory in board.picture_memories
