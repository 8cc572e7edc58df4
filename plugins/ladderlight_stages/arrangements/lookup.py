"""Pictures as numbers of colours, and the colours in a look-up memory."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from ladderlight import ArrangementError, Board, CodedPicture, Contents, Example, Option, Problem, refuse, stage
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.scan import is_direct
from ladderlight_stages.banks import one_bank_each
from ladderlight_stages.tiling.placing import place_each
from ladderlight_stages.tiling.tiling import Choice


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    for memory in board.driving_memories:
        signals = {line.signal for line in board.address_lines(memory)}
        if is_direct(board, memory):
            what = f"memory {memory.name!r} drives the ladders and is addressed by counters alone"
            yield Problem(where=(), what=f"{what}, so the board has no colour look-up", action="use bank_pictures")
        elif Signal.X in signals or Signal.Y in signals:
            what = f"the address of memory {memory.name!r} has counter lines, so it holds tiles and not colours"
            yield Problem(where=(), what=what, action="use tiles")


@stage(
    help="Number the pictures' colours, and fill picture memory and colour look-up memory.",
    rule=_problems,
    capacity=one_bank_each,
    example=Example(
        shows="a chart and a ferry, and the two rows of 16 colours that their banks choose from",
        pictures=("chart", "ferry"),
        board="lookup",
        others=({"use": "few_colours", "count": 16},),
    ),
)
def lookup(
    pictures: Sequence[CodedPicture],
    board: Board,
    *,
    match: Annotated[str, Option("names of the pictures to place, with * and ?")] = "*",
    share: Annotated[bool, Option("put identical pictures into one bank")] = False,
    merge: Annotated[bool, Option("replace colours by the most similar ones when there are too many")] = True,
    first: Annotated[int, Option("lowest colour number to use", minimum=0)] = 0,
    count: Annotated[int | None, Option("number of colour numbers to use; all if not given", minimum=1)] = None,
) -> Contents:
    """Number the pictures' colours, and fill picture memory and colour look-up memory.

    Without bank lines in the look-up memory's address, all pictures share its colours; with them each picture has
    its own. Merging is meant for a few colours too many: no dithering makes up for it, so it is coarser than reducing
    the pictures to few colours first. For that, put `few_colours` before it, with `share = "all"` for pictures that
    share colours.

    Raises ArrangementError when the board has no look-up memory, pictures do not fit, or there are too many colours and
    they may not be merged.
    """
    refuse(_problems(board, {}), ArrangementError)
    return place_each(pictures, board, Choice(first=first, count=count, merge=merge), match=match, share=share)
