"""Findings about blanking, where monitors take their black level, and about memories that drive timing lines."""

from collections.abc import Iterator
from functools import partial

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import timing_line
from ladderlight.board.scanning.blanking import Moment, Shared, darkness_of
from ladderlight.board.scanning.scan import is_direct
from ladderlight.board.scanning.separation import Counts, separating_bits
from ladderlight.board.scanning.timing import picture_delay
from ladderlight.board.scanning.timing_lines import timing_conflicts, timing_pins
from ladderlight.errors import Finding, Problem
from ladderlight.units.words import joined

_GATE = "gate or disable the outputs during blanking"
_EDGES = ("hsync", "vsync", "blank")
"""Lines whose edges count; counters with a synchronous load look at their reset at the clock edge alone."""


def blanking_findings(board: Board) -> Iterator[Finding]:
    """Yield what keeps the board from being dark outside the picture, with a remedy."""
    caution = partial(Finding.caution, "blanking")
    direct = joined([memory.name for memory in board.driving_memories if memory.output == "direct"])
    if board.blanking == "register" and direct:
        yield caution(
            f"blanking clears an output register, but memory {direct} has a direct output; "
            'set output = "register" or choose another way of blanking'
        )
    darkness = darkness_of(board)
    if darkness.dark:
        return
    if darkness.dark is False:
        volts = "" if darkness.volts is None else f" ({max(darkness.volts):.3f} V)"
        yield caution(
            f"the darkest colour is not 0 V{volts}, so the board lights the screen during blanking, where the "
            "monitor takes its black level; drive the ladders from outputs that pull to ground"
        )
    elif not darkness.known:
        what = "the outputs are not blanked, and the words that would have to be black depend on the map"
        yield caution(f"{what}; {_GATE}")
    elif darkness.shared:
        yield caution(_shared_in_words(board, darkness.shared[0]))
    else:
        yield Finding.note(
            "blanking",
            "the words read during blanking are not of the picture and are filled with black; erased banks "
            "stay bright during blanking, so gate the outputs if such banks can be chosen",
        )


def _shared_in_words(board: Board, shared: Shared) -> str:
    def counts(moment: Moment) -> Counts:
        x, y = board.readings(*moment)
        return int(x), int(y), 0

    if shared.blanking == shared.visible:
        return (
            "an edge of the picture shows during blanking, where the monitor takes its black level, as registers delay "
            f"the picture by {picture_delay(board)} counts and blanking is delayed by "
            f"{board.counters.blanking_delay}; delay sync and blanking by as much as the picture"
        )
    count, line, _ = blanked = counts(shared.blanking)
    bits = separating_bits(board, counts(shared.visible), blanked, board.picture_memories)
    memory = board.memory(shared.memory)
    larger = "" if len(memory.address) < memory.address_pins else " (which takes a larger part)"
    wire = f"wire {joined(bits, 'or')} to the address of memory {memory.name}{larger}, or " if bits else ""
    return (
        f"picture shows during blanking, where the monitor takes its black level: at line {line}, "
        f"count {count} memory {shared.memory} is read at {shared.address:04X}h again, "
        f"one of {shared.words:,} words of the picture; {wire}{_GATE}"
    )


def timing_problems(board: Board) -> list[Problem]:
    """Return what keeps memories from driving their timing lines, each at its data pin."""
    return list(_misplaced_lines(board)) or list(timing_conflicts(board))


def timing_findings(board: Board) -> Iterator[Finding]:
    """Yield timing lines that pass through undefined levels on their way to the monitor."""
    for memory in board.memories:
        lines = [name for name in timing_pins(memory).values() if timing_line(name) in _EDGES]
        if lines and memory.output == "direct":
            yield Finding.caution(
                f"memory {memory.name}",
                f"a direct output is undefined for the access time after each change of the address, and so "
                f'{"are" if len(lines) > 1 else "is"} {joined(lines)}; set output = "register"',
            )


def _misplaced_lines(board: Board) -> Iterator[Problem]:
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
