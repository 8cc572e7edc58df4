"""Reasons why memories cannot drive timing lines, and cautions about those that they do drive."""

from collections.abc import Iterator

from ladderlight.board.model.board import Board
from ladderlight.board.model.findings import Finding
from ladderlight.board.model.lines import timing_line
from ladderlight.board.scanning.scan import is_direct
from ladderlight.board.scanning.timing_lines import TimingConflict, timing_conflicts, timing_pins
from ladderlight.errors import Problem
from ladderlight.units.words import joined

_EDGES = ("hsync", "vsync", "blank")
"""Lines whose edges count; counters with a synchronous load look at their reset at the clock edge alone."""


def timing_problems(board: Board) -> list[Problem]:
    """Return what keeps memories from driving their timing lines, each at its data pin."""
    return [*_misplaced(board)] or [_conflicting(board, conflict) for conflict in timing_conflicts(board)]


def findings(board: Board) -> Iterator[Finding]:
    """Yield timing lines that pass through undefined levels on their way to the monitor."""
    for memory in board.memories:
        lines = [name for name in timing_pins(memory).values() if timing_line(name) in _EDGES]
        if lines and memory.output == "direct":
            yield Finding.caution(
                f"memory {memory.name}",
                f"a direct output is undefined for the access time after each change of the address, and so "
                f'{"are" if len(lines) > 1 else "is"} {joined(lines)}; set output = "register"',
            )


def _misplaced(board: Board) -> Iterator[Problem]:
    for index, memory in enumerate(board.memories):
        for pin, name in timing_pins(memory).items():
            what = action = ""
            if not is_direct(board, memory):
                what = f"memory {joined([repr(other) for other in board.sources[memory.name]])} addresses this one"
                action = "let a memory drive it that counters alone address"
            elif memory.packing.pixels > 1:
                what = f"a word of this memory holds {memory.packing.pixels} pixels, each for counts of its own"
                action = "let a memory without packing drive it"
            elif board.blanking == "output-enable" and memory.output == "direct" and memory in board.driving_memories:
                what = "blanking disables this memory's outputs"
                action = 'let another memory drive it, or set output = "register" or blanking = "gate"'
            if what:
                where = ("memory", index, "data", pin)
                yield Problem(where=where, what=f"{what}, so it cannot drive timing line {name!r}", action=action)


def _conflicting(board: Board, conflict: TimingConflict) -> Problem:
    index = next(place for place, memory in enumerate(board.memories) if memory.name == conflict.memory)
    (low_x, low_y), (high_x, high_y) = conflict.low, conflict.high
    bits = joined(conflict.missing)
    return Problem(
        where=("memory", index, "data", conflict.pin),
        what=f"timing line {conflict.line!r} must be low at count {low_x} of line {low_y} and high at count {high_x} "
        f"of line {high_y}, but memory {conflict.memory!r} shows the word at address {conflict.address:04X}h at both",
        action=f"add {bits} to its address" if bits else "check the gates and constants in its address",
    )
