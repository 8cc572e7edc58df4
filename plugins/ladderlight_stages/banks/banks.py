"""The bank of each picture, and what would make room for more banks."""

from collections.abc import Iterator, Sequence
from itertools import count

from ladderlight import ArrangementError, Board, CodedPicture
from ladderlight.board.advice.alternatives import smallest_part
from ladderlight.units.words import joined


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
    extra = _lines_to_add(board, (need - 1).bit_length() - (have - 1).bit_length())
    dealt = 'deal them to trays with per_tray = "banks" in [pictures], none with a tray of its own, '
    trays = dealt if to_trays else ""
    advice = "; ".join(_advice(board, extra)) or "use a larger memory"
    return (
        f"{need} banks are needed, but the wiring has {have}; left over: {shown}; "
        f"leave pictures out, {trays}or add {_quoted(extra)} to the address: {advice}"
    )


def _lines_to_add(board: Board, number: int) -> list[str]:
    """Return the lowest bank lines that are not wired yet."""
    wired = board.bank_lines
    return [f"bank{index}" for index in range(len(wired) + number) if index not in wired][:number]


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
