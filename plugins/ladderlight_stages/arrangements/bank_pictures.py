"""One picture per bank."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from ladderlight import ArrangementError, Board, CodedPicture, Contents, Example, Option, Problem, stage
from ladderlight.board import Conflict, Placement
from ladderlight_stages.banks import (
    assign_banks,
    collision,
    contents_of,
    one_bank_each,
    refuse_misfits,
    refuse_other_boards,
    selected,
)


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    try:
        refuse_other_boards("bank_pictures", board)
    except ArrangementError as error:
        yield Problem.of(error)


@stage(
    help="Put each picture into a bank of its own.",
    rule=_problems,
    capacity=one_bank_each,
    example=Example(
        shows="three pictures, and the memory with each of them in a quarter of its own, the last quarter empty",
        pictures=("cafe", "quay-cat", "lighthouse"),
    ),
)
def bank_pictures(
    pictures: Sequence[CodedPicture],
    board: Board,
    *,
    match: Annotated[str, Option("names of the pictures to place, with * and ?")] = "*",
    share: Annotated[bool, Option("put identical pictures into one bank")] = False,
) -> Contents:
    """Put each picture into the bank that the recipe chooses, or into the next free one.

    The address of every pixel follows from the wiring, so any order of address lines, any number of chips one after
    another or side by side, packed words and bit planes work alike.

    Raises ArrangementError when the pictures do not fit, two have the same bank, a picture is of the wrong size, or the
    wiring shows one word at two places that differ.
    """
    refuse_other_boards("bank_pictures", board)
    chosen = selected(pictures, match)
    refuse_misfits(chosen, board)
    banks = assign_banks(chosen, board, share=share)
    placement = Placement(board=board)
    done: set[int] = set()
    for picture, bank in zip(chosen, banks, strict=True):
        if bank in done:
            continue
        done.add(bank)
        try:
            placement.put_codes(picture.codes, bank=bank, picture=picture.origin.name)
        except Conflict as conflict:
            raise ArrangementError(collision(conflict, board)) from conflict
    return contents_of(placement, chosen, banks)
