"""Counter bits that keep places apart."""

from collections.abc import Iterable

from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import Signal
from ladderlight.board.model.memory import Memory

Counts = tuple[int, int, int]
"""What the x and the y counter read, and the number of the bank."""


def separating_bits(board: Board, first: Counts, second: Counts, memories: Iterable[Memory] = ()) -> list[str]:
    """Return the counter bits that differ between two places and are in no address of ``memories``: ``x3``, ``bank0``.

    x bits come first, then y, then bank, the lowest of each first.
    """
    wired = {(line.signal, line.index) for memory in memories for line in board.address_lines(memory)}
    differing = {
        Signal.X: first[0] ^ second[0],
        Signal.Y: first[1] ^ second[1],
        Signal.BANK: int(board.bank_levels(first[2]) ^ board.bank_levels(second[2])),
    }
    return [
        f"{signal.value}{bit}"
        for signal, bits in differing.items()
        for bit in range(bits.bit_length())
        if bits >> bit & 1 and (signal, bit) not in wired
    ]
