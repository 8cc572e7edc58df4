"""Findings about the output during blanking, where monitors take their black level."""

from collections.abc import Iterator

from ladderlight.board.model.board import Board
from ladderlight.board.model.findings import Finding
from ladderlight.board.scanning.blanking import Moment, Shared, darkness_of
from ladderlight.board.scanning.separation import Counts, separating_bits
from ladderlight.board.scanning.timing import picture_delay
from ladderlight.units.words import joined

_GATE = "gate or disable the outputs during blanking"


def findings(board: Board) -> Iterator[Finding]:
    """Yield what keeps the board from being dark outside the picture, with a remedy."""
    if board.blanking == "register":
        yield from _registerless(board)
    darkness = darkness_of(board)
    if darkness.dark:
        return
    if darkness.dark is False:
        volts = "" if darkness.volts is None else f" ({max(darkness.volts):.3f} V)"
        yield _finding(
            f"the darkest colour is not 0 V{volts}, so the board lights the screen during blanking, where the "
            "monitor takes its black level; drive the ladders from outputs that pull to ground"
        )
    elif not darkness.known:
        yield _finding(
            "the outputs are not blanked, and the words that would have to be black depend on the map; " + _GATE
        )
    elif darkness.shared:
        yield _finding(_shared_in_words(board, darkness.shared[0]))
    else:
        yield Finding.note(
            "blanking",
            "the words read during blanking are not of the picture and are filled with black; erased banks "
            "stay bright during blanking, so gate the outputs if such banks can be chosen",
        )


def _finding(message: str) -> Finding:
    return Finding.caution("blanking", message)


def _registerless(board: Board) -> Iterator[Finding]:
    direct = [memory.name for memory in board.driving_memories if memory.output == "direct"]
    if direct:
        yield _finding(
            f"blanking clears an output register, but memory {joined(direct)} has a direct output; "
            'set output = "register" or choose another way of blanking'
        )


def _shared_in_words(board: Board, shared: Shared) -> str:
    def counts(moment: Moment) -> Counts:
        x, y = board.readings(moment.column, moment.line)
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
