"""What is known of pictures in banks before any is decoded: from their names, frames and chosen banks alone."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from ladderlight import ArrangementError, Board, CodedPicture, Origin, Problem
from ladderlight.board import Memory
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.scan import is_direct
from ladderlight.board.scanning.separation import separating_bits
from ladderlight.units.words import joined
from ladderlight_stages.banks.banks import assign_banks
from ladderlight_stages.banks.misfits import selected

Assign = Callable[[Sequence[CodedPicture], Board, Mapping[str, Any]], tuple[Sequence[CodedPicture], Sequence[int]]]
"""Returns the pictures that fill banks, and the bank of each."""


def one_bank_each(origins: Sequence[Origin], board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield what keeps pictures from getting a bank each.

    Pictures that may share a bank when they are the same are not counted.
    """
    return bank_problems(origins, board, options, _own_banks)


def bank_problems(
    origins: Sequence[Origin], board: Board, options: Mapping[str, Any], assign: Assign
) -> Iterator[Problem]:
    """Yield what keeps pictures from getting their banks, and which banks a memory cannot tell apart."""
    blank = np.zeros((1, 1), dtype=np.uint16)
    try:
        chosen = selected([CodedPicture(origin=origin, codes=blank) for origin in origins], options["match"])
        placed, banks = assign(chosen, board, options) if chosen else ((), ())
    except ArrangementError as error:
        for line in str(error).splitlines():
            what, _, action = line.partition("; ")
            yield Problem(where=(), what=what, action=action)
        return
    yield from _alike(placed, banks, board)


def _own_banks(
    chosen: Sequence[CodedPicture], board: Board, options: Mapping[str, Any]
) -> tuple[Sequence[CodedPicture], Sequence[int]]:
    return ((), ()) if options["share"] else (chosen, assign_banks(chosen, board))


def _alike(pictures: Sequence[CodedPicture], banks: Sequence[int], board: Board) -> Iterator[Problem]:
    """Yield a caution for each memory with two banks at one address: its part of their pictures must be the same."""
    holders = dict(zip(banks, pictures, strict=True))
    for memory in board.driving_memories:
        if not is_direct(board, memory):
            continue
        mask = _bank_mask(board, memory)
        firsts: dict[int, int] = {}
        for bank in sorted(holders):
            before = firsts.setdefault(int(board.bank_levels(bank)) & mask, bank)
            if before == bank:
                continue
            first, second = (repr(holders[number].origin.name) for number in (before, bank))
            lines = joined(separating_bits(board, (0, 0, before), (0, 0, bank), [memory]))
            yield Problem(
                where=(),
                what=f"memory {memory.name!r} cannot tell banks {before} and {bank} apart, so the build fails unless "
                f"{first} and {second} are the same in it",
                action=f"add {lines} to its address",
                certain=False,
            )
            break


def _bank_mask(board: Board, memory: Memory) -> int:
    return sum({1 << line.index for line in board.address_lines(memory) if line.signal is Signal.BANK})
