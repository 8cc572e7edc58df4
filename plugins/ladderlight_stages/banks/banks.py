"""Which pictures get which bank, and which part would have enough."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import count

from ladderlight import ArrangementError, Board, CodedPicture
from ladderlight.board.advice.alternatives import smallest_part
from ladderlight.units.words import joined


def assign_banks(pictures: Sequence[CodedPicture], board: Board, *, share: bool = False) -> list[int]:
    """Give each picture its bank: the one that the recipe asks for, else the next free one.

    With ``share``, pictures that are the same code for code get the same bank.

    Raises
    ------
    ArrangementError
        When a bank does not exist, is asked for twice, or there are not enough. All reasons at once.
    """
    banks = range(board.bank_count)
    problems = [_no_such_bank(picture, banks) for picture in pictures if picture.origin.bank not in (None, *banks)]
    holder: dict[int, CodedPicture] = {}
    holding: dict[bytes, int] = {}
    for picture in pictures:
        bank = picture.origin.bank
        if bank is None or bank not in banks:
            continue
        if bank in holder and not (share and _same(picture, holder[bank])):
            problems.append(
                f"{holder[bank].origin.name!r} and {picture.origin.name!r} both ask for bank {bank}; "
                "give one of them another bank, or none to get the next free one"
            )
            continue
        holder.setdefault(bank, picture)
        holding.setdefault(_content(picture), bank)
    if problems:
        raise ArrangementError("\n".join(problems))
    # Numbers beyond the last bank stand for the banks that are missing, so that they can be counted.
    free = (number for number in count() if number not in holder)
    given: list[int] = []
    for picture in pictures:
        bank = picture.origin.bank
        if bank is None and share:
            bank = holding.get(_content(picture))
        if bank is None:
            bank = next(free)
            holding.setdefault(_content(picture), bank)
        given.append(bank)
    left = [picture for picture, bank in zip(pictures, given, strict=True) if bank not in banks]
    if left:
        missing = len(set(given) - set(banks))
        raise ArrangementError(too_many(left, len(banks), len(banks) + missing, board))
    return given


def _content(picture: CodedPicture) -> bytes:
    return repr(picture.codes.shape).encode() + picture.codes.tobytes()


def _same(one: CodedPicture, other: CodedPicture) -> bool:
    return _content(one) == _content(other)


def _no_such_bank(picture: CodedPicture, banks: Sequence[int]) -> str:
    if len(banks) == 1:
        return (
            f"{picture.origin.name!r} asks for bank {picture.origin.bank}, but the board has no bank lines; "
            'leave the bank out, or add "bank0" to the address of the memory'
        )
    return f"{picture.origin.name!r} asks for bank {picture.origin.bank}, which does not exist; use 0 to {banks[-1]}"


def too_many(left: Sequence[CodedPicture], have: int, need: int, board: Board) -> str:
    """Say that there are too few banks, which pictures are left, and what would be enough."""
    names = [repr(picture.origin.name) for picture in left]
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    extra = _lines_to_add(board, (need - 1).bit_length() - (have - 1).bit_length())
    advice = "; ".join(_advice(board, extra)) or "use a larger memory"
    return (
        f"{need} banks are needed, but the wiring has {have}; left over: {shown}; "
        f"leave pictures out, or add {_listed(extra)} to the address: {advice}"
    )


def _lines_to_add(board: Board, number: int) -> list[str]:
    """Name the lowest bank lines that are not wired yet."""
    wired = board.bank_lines
    return [f"bank{index}" for index in range(len(wired) + number) if index not in wired][:number]


def _listed(lines: Sequence[str]) -> str:
    return joined([f'"{line}"' for line in lines])


def _advice(board: Board, extra: Sequence[str]) -> Iterator[str]:
    """For each memory that drives ladders say how it can take more bank lines."""
    for memory in board.driving_memories:
        tied = memory.tied_pins
        pins = len(memory.address) - len(tied) + len(extra)
        label = f"memory {memory.name!r}: "
        if len(memory.address) + len(extra) <= memory.address_pins:
            yield label + f"{memory.part.number} has the spare address lines for it"
            continue
        if pins <= memory.address_pins:
            taken = tied[: len(memory.address) + len(extra) - memory.address_pins]
            put = f"{_listed(extra[: len(taken)])} at {joined([f'A{pin}' for pin in taken])}"
            yield label + f"write {put} in place of {_listed([str(memory.address[pin]) for pin in taken])}"
            continue
        part = smallest_part(memory, pins)
        if part:
            yield label + f"{part.number} has enough words"
        else:
            yield label + f"chips = {-(-(1 << pins) // memory.part.words)} of {memory.part.number} have enough words"
