"""Pictures as tile maps, with one tile set for all."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from ladderlight import ArrangementError, Board, CodedPicture, Contents, Example, Option, Problem, refuse, stage
from ladderlight.board.scanning.scan import is_direct
from ladderlight_stages.banks import one_bank_each
from ladderlight_stages.tiling.placing import place_each
from ladderlight_stages.tiling.tiling import Choice


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    if all(is_direct(board, memory) for memory in board.driving_memories):
        what = "no memory that drives the ladders is addressed by another one, so the board has no tile map"
        yield Problem(where=(), what=what, action="use bank_pictures")


@stage(
    help="Cut the pictures into tiles, and fill the tile map and the tile set.",
    rule=_problems,
    capacity=one_bank_each,
    example=Example(
        shows="a chart and a ferry, and the unique tiles that both are made of",
        pictures=("chart", "ferry"),
        board="tiles",
        others=({"use": "nearest"},),
    ),
)
def tiles(
    pictures: Sequence[CodedPicture],
    board: Board,
    *,
    match: Annotated[str, Option("names of the pictures to place, with * and ?")] = "*",
    share: Annotated[bool, Option("put identical pictures into one bank")] = False,
    mirror: Annotated[bool, Option("show tiles mirrored where the wiring has the gates for it")] = True,
    merge: Annotated[bool, Option("replace tiles by the most similar ones when there are too many")] = True,
    first: Annotated[int, Option("lowest tile number to use", minimum=0)] = 0,
    count: Annotated[
        int | None, Option("number of tile numbers to use; all that the wiring has if not given", minimum=1)
    ] = None,
) -> Contents:
    """Cut the pictures into tiles, and fill the tile map and the tile set.

    The size of a tile, the room for tiles and their mirrored forms follow from the wiring: from the counter bits and
    the map's outputs in the tile memory's address. Equal tiles are kept once, for all pictures together. Their numbers
    hardly change from build to build, so that few bytes change when a picture does.

    Raises ArrangementError when the board has no tile memory, pictures do not fit, or there are too many tiles and they
    may not be merged.
    """
    refuse(_problems(board, {}), ArrangementError)
    return place_each(
        pictures, board, Choice(first=first, count=count, turn=mirror, merge=merge), match=match, share=share
    )
