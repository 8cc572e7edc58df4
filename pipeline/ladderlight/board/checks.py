"""What makes a board impossible: every reason, each with its place in the declaration and what to do."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Iterator

from ladderlight.board.board import Board
from ladderlight.board.lines import Line, Signal
from ladderlight.board.memory import Memory
from ladderlight.errors import Problem, nearest_word

MOST_CODE_BITS = 16


def problems_of(board: Board) -> list[Problem]:
    """List what is impossible about a board. ``where`` is relative to the board: ``("memory", 0, "address", pin)``.

    The computed properties of a board may be used only when this list is empty.
    """
    problems = [*_names(board), *_ladder_lines(board)]
    for index, memory in enumerate(board.memories):
        where = ("memory", index)
        problems += _data(board, memory, where)
        problems += _address(board, memory, where)
    if not problems:
        problems += _loops(board)
    if not problems:
        for index, memory in enumerate(board.memories):
            problems += _packing(board, memory, ("memory", index))
    return problems


def _names(board: Board) -> Iterator[Problem]:
    if not board.memories:
        yield Problem(where=("memory",), what="the board has no memory", action="add a [[board.memory]]")
    tally = Tally(memory.name for memory in board.memories)
    for index, memory in enumerate(board.memories):
        if tally[memory.name] > 1:
            yield Problem(
                where=("memory", index, "name"),
                what=f"more than one memory is called {memory.name!r}",
                action="give each a name of its own",
            )
    drivers = Tally(name for memory in board.memories for name in memory.data if name != "-")
    for index, memory in enumerate(board.memories):
        for pin, name in enumerate(memory.data):
            if drivers[name] > 1:
                yield Problem(
                    where=("memory", index, "data", pin),
                    what=f"line {name!r} is driven by {drivers[name]} data pins, which would fight each other",
                    action="let one pin drive it",
                )


def _ladder_lines(board: Board) -> Iterator[Problem]:
    driven = {name for memory in board.memories for name in memory.data} - {"-"}
    for channel in board.ladder.channels:
        for name in channel.lines:
            if name not in driven:
                yield Problem(
                    where=("ladder", channel.name, name),
                    what=f"no memory's data pin drives ladder line {name!r}",
                    action=nearest_word(name, driven),
                )
    if len(board.ladder.lines) > MOST_CODE_BITS:
        yield Problem(
            where=("ladder",),
            what=f"the ladders have {len(board.ladder.lines)} lines; a code has at most {MOST_CODE_BITS} bits",
            action="leave some out",
        )


def _data(board: Board, memory: Memory, where: tuple[str | int, ...]) -> Iterator[Problem]:
    if len(memory.data) > memory.pixel_width:
        yield Problem(
            where=(*where, "data"),
            what=f"memory {memory.name!r} has {memory.pixel_width} data pins"
            + (
                f" per pixel ({memory.part.width} bits, {memory.packing.pixels} pixels in a word)"
                * (memory.packing.pixels > 1)
            )
            + f", but {len(memory.data)} are listed",
            action="take some off or use a wider part",
        )
    if memory.fill_word >> memory.part.width:
        yield Problem(
            where=(*where, "fill"),
            what=f"fill {memory.fill_word:X}h does not fit into {memory.part.width} bits",
            action=f"use at most {(1 << memory.part.width) - 1:X}h",
        )
    used = set(board.ladder.lines) | {
        line.name for m in board.memories for e in m.address for line in e.lines if line.signal is Signal.NAMED
    }
    for pin, name in enumerate(memory.data):
        if name != "-" and name not in used:
            yield Problem(
                where=(*where, "data", pin),
                what=f"nothing uses line {name!r}",
                action=f'{nearest_word(name, used)} or write "-" for a pin that drives nothing',
            )


def _address(board: Board, memory: Memory, where: tuple[str | int, ...]) -> Iterator[Problem]:
    if len(memory.address) > memory.address_pins:
        chips = f" in {memory.chips} chips" if memory.chips > 1 else ""
        yield Problem(
            where=(*where, "address"),
            what=f"{memory.part.number}{chips} has {memory.address_pins} address lines, "
            f"but {len(memory.address)} are listed",
            action="drop a line or use a larger part",
        )
    for pin, expression in enumerate(memory.address):
        for line in expression.lines:
            problem = _line_problem(board, line)
            if problem:
                what, action = problem
                yield Problem(where=(*where, "address", pin), what=f"A{pin}: {what}", action=action)


def _line_problem(board: Board, line: Line) -> tuple[str, str] | None:
    raster, counters = board.raster, board.counters
    for signal, counts, start in ((Signal.X, raster.x, counters.x_start), (Signal.Y, raster.y, counters.y_start)):
        bits = (start + counts.total - 1).bit_length()
        if line.signal is signal and line.index >= bits:
            return (
                f"{line} never changes: the {signal.value} counter counts {start} to {start + counts.total - 1}",
                f"use {signal.value}0 to {signal.value}{bits - 1}, or low",
            )
    if line.signal is Signal.BANK and line.index > 15:
        return f"{line} is beyond the 16 bank lines", "use bank0 to bank15"
    memories = {memory.name: memory for memory in board.memories}
    if line.signal is Signal.OUTPUT:
        if line.memory not in memories:
            return f"no memory is called {line.memory!r}", nearest_word(line.memory, memories)
        width = memories[line.memory].pixel_width
        if line.index >= width:
            return f"memory {line.memory!r} has no output d{line.index}", f"use d0 to d{width - 1}"
    if line.signal is Signal.NAMED and line.name not in board.outputs:
        known = [*board.outputs, "low", "high", "x0", "y0", "bank0", *(f"{name}.d0" for name in memories)]
        return f"nothing drives line {line.name!r}", nearest_word(line.name, known)
    return None


def _loops(board: Board) -> Iterator[Problem]:
    try:
        _ = board.order
    except ValueError:
        looped = [m.name for m in board.memories if _reaches(board, m.name, m.name)]
        yield Problem(
            where=("memory",),
            what=f"memories {', '.join(looped)} address each other in a loop",
            action="let at least one be addressed by counters alone",
        )


def _reaches(board: Board, start: str, goal: str) -> bool:
    seen: set[str] = set()
    left = list(board.sources[start])
    while left:
        name = left.pop()
        if name == goal:
            return True
        if name not in seen:
            seen.add(name)
            left += board.sources[name]
    return False


def _packing(board: Board, memory: Memory, where: tuple[str | int, ...]) -> Iterator[Problem]:
    if memory.packing.pixels == 1:
        return
    if board.lowest_bit(memory, Signal.X) is None or board.first_select_bit(memory) < 0:
        bits = memory.packing.select_bits
        yield Problem(
            where=(*where, "packing"),
            what=f"{memory.packing.pixels} pixels in a word need {bits} x bits below the lowest one in the address",
            action=f"start the address at x{bits} or higher",
        )
