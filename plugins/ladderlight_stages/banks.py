"""Banks for pictures, and what every arrangement checks."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import count
from typing import Any

import numpy as np

from ladderlight import (
    ArrangementError,
    Board,
    CodedPicture,
    Contents,
    MemoryContents,
    Origin,
    PlacedPicture,
    Problem,
    file_name,
    matching,
)
from ladderlight.board import Conflict, Placement
from ladderlight.board.advice.alternatives import smallest_part
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.scan import is_direct
from ladderlight.board.scanning.separation import separating_bits
from ladderlight.units.words import joined

Assign = Callable[[Sequence[CodedPicture]], Mapping[int, CodedPicture]]
"""Returns the pictures that fill banks, by bank; none where that depends on more than is known."""


def selected(pictures: Sequence[CodedPicture], match: str) -> list[CodedPicture]:
    """Return the pictures whose name, or file name, matches a pattern with ``*`` and ``?``.

    Raises ArrangementError when there are pictures but none matches.
    """
    chosen = matching(match, [(each, (each.origin.name, file_name(each.origin.source))) for each in pictures])
    if pictures and not chosen:
        names = ", ".join(sorted(picture.origin.name for picture in pictures)[:6])
        raise ArrangementError(f"no picture matches {match!r}; use one of {names}")
    return chosen


def refuse_misfits(pictures: Sequence[CodedPicture], board: Board) -> None:
    """Refuse pictures of the wrong size or with codes that the board does not have: ArrangementError, a line each."""
    problems = []
    width, height = board.geometry.width, board.geometry.height
    for picture in pictures:
        codes = picture.codes
        if codes.shape != (height, width):
            problems.append(
                f"{picture.origin.name!r} is {codes.shape[1]}x{codes.shape[0]} pixels, but the wiring scans "
                f'{width}x{height}; put use = "resize" before the reduction to codes'
            )
        elif int(codes.max()) >= len(board.palette):
            problems.append(
                f"{picture.origin.name!r} has code {int(codes.max())}, but the ladders have codes 0 to "
                f"{len(board.palette) - 1}; correct the stage that reduces it to codes"
            )
    if problems:
        raise ArrangementError("\n".join(problems))


@contextmanager
def conflict_errors(board: Board) -> Iterator[None]:
    """Turn a conflict into an ArrangementError: the two places that need different words, and what would help."""
    try:
        yield
    except Conflict as conflict:
        first, second = (
            (int(board.x_grid.samples[place.x]), int(board.y_grid.samples[place.y]), place.bank)
            for place in (conflict.first, conflict.second)
        )
        missing = separating_bits(board, first, second, [board.memory(conflict.memory)])
        action = f"check the gates and constants in the address of memory {conflict.memory!r}"
        if missing:
            action = f"add {joined(missing, 'or')} to the address of memory {conflict.memory!r}"
        raise ArrangementError(f"{conflict}; {action}, or show the same at both places") from conflict


def placed_words(placement: Placement) -> dict[str, MemoryContents]:
    """Return the words of every memory with the bits that a placement has written."""
    return {name: MemoryContents(words=words, written=written) for name, (words, written) in placement.words().items()}


def contents_of(placement: Placement, pictures: Sequence[CodedPicture], banks: Sequence[int]) -> Contents:
    """Return the contents of a placement, with its pictures and the bank of each."""
    return Contents(memories=placed_words(placement), pictures=placed(zip(pictures, banks, strict=True)))


def placed(pairs: Iterable[tuple[CodedPicture, int]]) -> tuple[PlacedPicture, ...]:
    """Return what the manifest has of pictures and their banks."""
    return tuple(PlacedPicture(origin=picture.origin, bank=bank) for picture, bank in pairs)


def assign_banks(pictures: Sequence[CodedPicture], board: Board, *, share: bool = False) -> list[int]:
    """Return each picture's bank: the one that the recipe chooses for it, else the next free one.

    With ``share``, pictures that are the same code for code get the same bank. Raises ArrangementError when a bank does
    not exist, is chosen twice, or there are too few. All reasons at once.
    """
    banks = range(board.bank_count)
    holders = _chosen_banks(pictures, banks, share=share)
    shown = {_content(picture): bank for bank, picture in reversed(holders.items())} if share else {}
    # free banks go on beyond the last one, so that those that are missing can be counted
    free = (bank for bank in count() if bank not in holders)
    assigned: list[int] = []
    for picture in pictures:
        bank = picture.origin.bank
        if bank is None and share:
            content = _content(picture)
            bank = shown[content] if content in shown else shown.setdefault(content, next(free))
        assigned.append(next(free) if bank is None else bank)
    left = [picture for picture, bank in zip(pictures, assigned, strict=True) if bank not in banks]
    if left:
        missing = len(set(assigned) - set(banks))
        raise ArrangementError(too_many(left, len(banks), len(banks) + missing, board, to_trays=True))
    return assigned


def _chosen_banks(pictures: Sequence[CodedPicture], banks: Sequence[int], *, share: bool) -> dict[int, CodedPicture]:
    """Return the banks that the recipe chooses, each with its first picture."""
    holders: dict[int, CodedPicture] = {}
    problems = []
    for picture in pictures:
        bank = picture.origin.bank
        if bank is None:
            continue
        if bank not in banks:
            problems.append(_no_such_bank(picture, banks))
        elif bank not in holders:
            holders[bank] = picture
        elif not share or _content(picture) != _content(holders[bank]):
            problems.append(
                f"{holders[bank].origin.name!r} and {picture.origin.name!r} have the same bank, {bank}; "
                "choose another for one of them, or none to get the next free one"
            )
    if problems:
        raise ArrangementError("\n".join(problems))
    return holders


def _content(picture: CodedPicture) -> bytes:
    return repr(picture.codes.shape).encode() + picture.codes.tobytes()


def _no_such_bank(picture: CodedPicture, banks: Sequence[int]) -> str:
    what = f"{picture.origin.name!r} is for bank {picture.origin.bank}"
    if len(banks) == 1:
        return f'{what}, but the board has no bank lines; leave the bank out, or add "bank0" to the memory\'s address'
    return f"{what}, which does not exist; use 0 to {banks[-1]}"


def too_many(left: Sequence[CodedPicture], have: int, need: int, board: Board, *, to_trays: bool = False) -> str:
    """Return the message that there are too few banks, with the pictures left over and what would be enough.

    ``to_trays`` is for pictures that need not stay in one set of chips.
    """
    names = [repr(picture.origin.name) for picture in left]
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    wired, number = board.bank_lines, (need - 1).bit_length() - (have - 1).bit_length()
    extra = [f"bank{index}" for index in range(len(wired) + number) if index not in wired][:number]
    dealt = 'deal them to trays with per_tray = "banks" in [pictures], none with a tray of its own, '
    trays = dealt if to_trays else ""
    advice = "; ".join(_advice(board, extra)) or "use a larger memory"
    return (
        f"{need} banks are needed, but the wiring has {have}; left over: {shown}; "
        f"leave pictures out, {trays}or add {_quoted(extra)} to the address: {advice}"
    )


def _quoted(lines: Sequence[str]) -> str:
    return joined([f'"{line}"' for line in lines])


def _advice(board: Board, extra: Sequence[str]) -> Iterator[str]:
    """For each memory that drives ladders say how it can take more bank lines."""
    for memory in board.driving_memories:
        tied = memory.tied_pins
        pins = len(memory.address) - len(tied) + len(extra)
        label = f"memory {memory.name!r}: "
        if len(memory.address) + len(extra) <= memory.address_pins:
            yield label + f"{memory.part.number} has the spare address lines"
            continue
        if pins <= memory.address_pins:
            taken = tied[: len(memory.address) + len(extra) - memory.address_pins]
            put = f"{_quoted(extra[: len(taken)])} at {joined([f'A{pin}' for pin in taken])}"
            yield label + f"write {put} in place of {_quoted([str(memory.address[pin]) for pin in taken])}"
            continue
        part = smallest_part(memory, pins)
        if part:
            yield label + f"{part.number} has enough words"
        else:
            yield label + f"chips = {-(-(1 << pins) // memory.part.words)} of {memory.part.number} have enough words"


def one_bank_each(origins: Sequence[Origin], board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield what keeps pictures from getting a bank each.

    Pictures that may share a bank when they are the same are not counted.
    """

    def assign(chosen: Sequence[CodedPicture]) -> Mapping[int, CodedPicture]:
        return {} if options["share"] else dict(zip(assign_banks(chosen, board), chosen, strict=True))

    return bank_problems(origins, board, options["match"], assign)


def bank_problems(origins: Sequence[Origin], board: Board, match: str, assign: Assign) -> Iterator[Problem]:
    """Yield what keeps pictures from getting their banks, and which banks a memory cannot tell apart.

    It is known before any picture is decoded: from names, frames and chosen banks alone.
    """
    blank = np.zeros((1, 1), dtype=np.uint16)
    try:
        chosen = selected([CodedPicture(origin=origin, codes=blank) for origin in origins], match)
        holders = assign(chosen) if chosen else {}
    except ArrangementError as error:
        yield from (Problem.of(ArrangementError(line)) for line in str(error).splitlines())
        return
    yield from _alike(holders, board)


def _alike(holders: Mapping[int, CodedPicture], board: Board) -> Iterator[Problem]:
    """Yield a caution for each memory with two banks at one address: its part of their pictures must be the same."""
    for memory in board.driving_memories:
        if not is_direct(board, memory):
            continue
        mask = sum({1 << line.index for line in board.address_lines(memory) if line.signal is Signal.BANK})
        firsts: dict[int, int] = {}
        for bank, levels in zip(sorted(holders), board.bank_levels(sorted(holders)).tolist(), strict=True):
            before = firsts.setdefault(levels & mask, bank)
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
