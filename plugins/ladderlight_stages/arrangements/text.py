"""Lines of text in a tile map."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

import numpy as np

from ladderlight import (
    ArrangementError,
    Board,
    CodedPicture,
    Contents,
    Example,
    Option,
    Origin,
    PlacedPicture,
    Problem,
    stage,
)
from ladderlight.board import Placement
from ladderlight.board.scanning.scan import is_direct
from ladderlight.units.arrays import Ints
from ladderlight_stages.banks import conflict_errors, placed_words
from ladderlight_stages.tiling.numbered import Grid, tile_grid
from ladderlight_stages.tiling.tile_wiring import combine

ASCII = "".join(map(chr, range(32, 127)))


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    try:
        grid = _grid(board, options["bank"])
    except ArrangementError as error:
        yield Problem.of(error, "bank")
        return
    others = (options[name] for name in ("lines", "characters", "first", "row", "column", "around"))
    try:
        _numbers(grid, *others)
    except ArrangementError as error:
        yield Problem.of(error, "around" if len(options["around"]) != 1 else "lines")


@stage(
    help="Write lines of text into the tile map, for characters that sheet has placed.",
    rule=_problems,
    needs_pictures=False,
    example=Example(
        shows="the tile map, with two lines of text in its first rows, and the tile set, with nothing written",
        options={"lines": ["MERROWHITHE", "open until five"], "row": 6, "column": 3},
        pictures=(),
        board="tiles",
    ),
)
def text(
    pictures: Sequence[CodedPicture],  # noqa: ARG001 - places none of them
    board: Board,
    *,
    lines: Annotated[list[str], Option("lines of text, from the top")],
    characters: Annotated[str, Option("characters in the order of their numbers")] = ASCII,
    first: Annotated[int, Option("number of the first of these characters", minimum=0)] = 0,
    bank: Annotated[int, Option("bank of the map", minimum=0)] = 0,
    row: Annotated[int, Option("tiles above the first line", minimum=0)] = 0,
    column: Annotated[int, Option("tiles left of the lines", minimum=0)] = 0,
    around: Annotated[str, Option("character in all other places")] = " ",
) -> Contents:
    """Write lines of text into the tile map, for characters that ``sheet`` has placed.

    Each character becomes the map's word for its tile: its place among ``characters`` plus ``first``, upright
    where the wiring mirrors. The whole map of the bank is written.

    Raises ArrangementError when the board has no tile map, a line does not fit, or a character is without a number.
    """
    grid = _grid(board, bank)
    numbers = _numbers(grid, lines, characters, first, row, column, around)
    words = grid.wiring.map_words(numbers[grid.row, grid.column] ^ grid.offset, grid.turn)
    placement = Placement(board=board)
    name = f"text of bank {bank}"
    for memory in board.memories:
        pins = [(owner == memory.name) << pin for owner, pin in grid.wiring.free]
        if not any(pins):
            continue
        if not is_direct(board, memory):
            raise ArrangementError(
                f"the tile map {memory.name!r} is itself addressed by a memory; text needs a plain map"
            )
        with conflict_errors(board):
            placement.put_values(memory, combine(words, pins).astype(np.uint32), sum(pins), bank=bank, picture=name)
    placed = PlacedPicture(origin=Origin(name=name, source="lines of the recipe", bank=bank), bank=bank)
    return Contents(memories=placed_words(placement), pictures=(placed,))


def _grid(board: Board, bank: int) -> Grid:
    if all(is_direct(board, memory) for memory in board.driving_memories):
        raise ArrangementError("the board has no tile map to write text into; draw the text as a picture")
    if bank >= board.bank_count:
        raise ArrangementError(f"bank = {bank} does not exist; use 0 to {board.bank_count - 1}")
    return tile_grid(board, bank)


def _numbers(grid: Grid, lines: Sequence[str], characters: str, first: int, row: int, column: int, around: str) -> Ints:
    """Return the tile number of every place in the map, shape (rows, columns)."""
    rows, columns = int(grid.row.max()) + 1, int(grid.column.max()) + 1
    for number, line in enumerate(lines, start=1):
        if column + len(line) > columns or row + number > rows:
            raise ArrangementError(
                f"line {number} of the text, {line!r}, ends in row {row + number}, column {column + len(line)}, but "
                f"the map has {rows} rows of {columns}; shorten it or move it"
            )
    if len(around) != 1:
        raise ArrangementError(f"around = {around!r} is not one character; write one, such as a space")
    unknown = sorted(set("".join([*lines, around])) - set(characters))
    if unknown:
        raise ArrangementError(
            f"the text uses {unknown[0]!r}, which is not among the characters; add it or change the text"
        )
    if first + len(characters) > grid.wiring.capacity:
        characters = characters[: max(0, grid.wiring.capacity - first)]
        beyond = sorted(set("".join([*lines, around])) - set(characters))
        if beyond:
            raise ArrangementError(
                f"{beyond[0]!r} would have a number beyond the {grid.wiring.capacity} tiles that the map can choose; "
                "lower first"
            )
    place = {character: first + index for index, character in reversed(list(enumerate(characters)))}
    numbers = np.full((rows, columns), place[around], dtype=np.int64)
    for down, line in enumerate(lines, start=row):
        for across, character in enumerate(line, start=column):
            numbers[down, across] = place[character]
    return numbers
