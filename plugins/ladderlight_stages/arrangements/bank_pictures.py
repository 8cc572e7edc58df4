"""One picture per bank."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from ladderlight import ArrangementError, Board, CodedPicture, Contents, Example, Option, Problem, refuse, stage
from ladderlight.board import Placement
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.scan import is_direct
from ladderlight.units.words import joined
from ladderlight_stages.banks import assign_banks, conflict_errors, contents_of, one_bank_each, refuse_misfits, selected


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    """Yield what is wrong with a board whose ladders are driven by a memory that another memory addresses."""
    for memory in board.driving_memories:
        if is_direct(board, memory):
            continue
        sources = joined([repr(name) for name in board.sources[memory.name]])
        counted = any(line.signal in (Signal.X, Signal.Y) for line in board.address_lines(memory))
        yield Problem(
            where=(),
            what=f"memory {memory.name!r} is addressed by memory {sources}, so its words are not a picture and stage "
            "'bank_pictures' cannot place one",
            action=f"use {'tiles (tile map and tile set)' if counted else 'lookup (colour look-up memory)'} instead",
        )
        return


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
    refuse(_problems(board, {}), ArrangementError)
    chosen = selected(pictures, match)
    refuse_misfits(chosen, board)
    banks = assign_banks(chosen, board, share=share)
    placement = Placement(board=board)
    done: set[int] = set()
    for picture, bank in zip(chosen, banks, strict=True):
        if bank in done:
            continue
        done.add(bank)
        with conflict_errors(board):
            placement.put_codes(picture.codes, bank=bank, picture=picture.origin.name)
    return contents_of(placement, chosen, banks)
