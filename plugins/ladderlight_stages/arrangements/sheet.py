"""Sprites and characters cut from a grid, each placed by its number."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any

import numpy as np

from ladderlight import ArrangementError, Board, CodedPicture, Contents, Example, Option, Origin, Problem, stage
from ladderlight.board import Placement
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.scan import is_direct
from ladderlight.units.arrays import Codes
from ladderlight_stages.banks import bank_problems, conflict_errors, contents_of, selected
from ladderlight_stages.tiling.numbered import numbered_tiles, tile_size


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    try:
        sizes = tile_size(board) if _is_tiled(board) else _period(board)
    except ArrangementError as error:
        yield Problem.of(error)
        return
    for option, size in zip(("width", "height"), sizes, strict=True):
        if (options[option] or size) > size:
            what = f"{option} {options[option]} is more than the {size} pixels of a cell in this wiring"
            yield Problem(where=(option,), what=what, action=f"use at most {size}")


def _is_tiled(board: Board) -> bool:
    return any(not is_direct(board, memory) for memory in board.driving_memories)


def _capacity(origins: Sequence[Origin], board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    return bank_problems(origins, board, options["match"], lambda _: {})


@stage(
    help="Cut sprites or characters from a grid, and place each by its number.",
    rule=_problems,
    capacity=_capacity,
    example=Example(
        shows="a chart, and its upper part cut into 96 cells of 8 by 8 pixels",
        options={"width": 8, "height": 8, "first": 32, "count": 96},
        pictures=("chart",),
        board="tiles",
    ),
)
def sheet(
    pictures: Sequence[CodedPicture],
    board: Board,
    *,
    match: Annotated[str, Option("names of the pictures to cut, with * and ?")] = "*",
    width: Annotated[int | None, Option("pixels across a cell; as many as a tile has if not given", minimum=1)] = None,
    height: Annotated[int | None, Option("pixels down a cell; as many as a tile has if not given", minimum=1)] = None,
    gap: Annotated[int, Option("pixels between cells", minimum=0)] = 0,
    first: Annotated[int, Option("number of the first cell", minimum=0)] = 0,
    count: Annotated[int | None, Option("number of cells to take; all of the grid if not given", minimum=1)] = None,
) -> Contents:
    """Cut sprites or characters from a grid, and place each by its number.

    Cells are numbered along the rows, from the top, through all the pictures. The number is that of a tile in the map
    or, on a board without a tile memory, the bank. The size of a tile follows from the wiring; a smaller cell fills its
    upper left corner, the rest is black. The pictures may have any size; do not resize them.

    Raises ArrangementError when a grid does not divide a picture evenly, a cell is larger than a tile, or there are too
    many cells.
    """
    chosen = selected(pictures, match)
    tiled = _is_tiled(board)
    across, down = tile_size(board) if tiled else _period(board)
    cells: list[Codes] = []
    owners: list[CodedPicture] = []
    for picture in chosen:
        found = _grid(picture, width or across, height or down, gap)
        cells += [_padded(cell, across, down, board, picture.origin.name) for cell in found]
        owners += [picture] * len(found)
    cells, owners = cells[:count], owners[:count]
    if tiled:
        return numbered_tiles(board, cells, first)
    return _in_banks(board, cells, owners, first)


def _in_banks(board: Board, cells: Sequence[Codes], owners: Sequence[CodedPicture], first: int) -> Contents:
    """Return contents of one cell a bank, as often as the wiring repeats it."""
    banks = range(board.bank_count)
    if first + len(cells) > len(banks):
        raise ArrangementError(
            f"{len(cells)} cells from number {first} on need {first + len(cells)} banks, but the wiring has "
            f"{len(banks)}; take fewer, or add bank lines"
        )
    placement = Placement(board=board)
    geometry = board.geometry
    x = board.x_grid.samples >> board.x_shift
    y = board.y_grid.samples >> board.y_shift
    pictures = []
    for number, (cell, owner) in enumerate(zip(cells, owners, strict=True), start=first):
        name = f"{owner.origin.name} cell {number}"
        codes = cell[np.ix_(y % cell.shape[0], x % cell.shape[1])][: geometry.height, : geometry.width]
        pictures.append(replace(owner, origin=replace(owner.origin, name=name), codes=codes))
        with conflict_errors(board):
            placement.put_codes(codes, bank=banks[number], picture=name)
    return contents_of(placement, pictures, banks[first : first + len(cells)])


def _period(board: Board) -> tuple[int, int]:
    """Return the number of pixels and of lines after which the wiring repeats itself."""
    lines = [line for memory in board.driving_memories for line in board.address_lines(memory)]
    x, y = (
        max((line.index + 1 for line in lines if line.signal is signal), default=shift) - shift
        for signal, shift in ((Signal.X, board.x_shift), (Signal.Y, board.y_shift))
    )
    return 1 << x, 1 << y


def _grid(picture: CodedPicture, width: int, height: int, gap: int) -> list[Codes]:
    lines, pixels = map(int, picture.codes.shape)
    for size, cell, what in ((pixels, width, "across"), (lines, height, "down")):
        if (size + gap) % (cell + gap):
            raise ArrangementError(
                f"{picture.origin.name!r} is {size} pixels {what}, not a whole number of cells of {cell}"
                + f" with {gap} between" * (gap > 0)
                + '; set "width" and "height" to those of a cell, and do not resize the picture'
            )
    return [
        picture.codes[y : y + height, x : x + width]
        for y in range(0, lines, height + gap)
        for x in range(0, pixels, width + gap)
    ]


def _padded(cell: Codes, across: int, down: int, board: Board, name: str) -> Codes:
    height, width = map(int, cell.shape)
    if width > across or height > down:
        raise ArrangementError(
            f"a cell of {name!r} is {width}x{height} pixels, but the wiring has tiles of {across}x{down}; use a "
            "smaller width and height"
        )
    if int(cell.max()) >= len(board.palette):
        raise ArrangementError(f"{name!r} has code {int(cell.max())}, beyond the board's {len(board.palette)} codes")
    whole = np.full((down, across), board.palette.black_code, dtype=np.uint16)
    whole[:height, :width] = cell
    return whole
