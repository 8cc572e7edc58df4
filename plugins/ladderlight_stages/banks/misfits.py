"""What every arrangement checks first, and its messages when pictures and wiring do not fit each other."""

from collections.abc import Sequence

from ladderlight import (
    ArrangementError,
    Board,
    CodedPicture,
    Contents,
    MemoryContents,
    PlacedPicture,
    file_name,
    matching,
)
from ladderlight.board import Conflict, Placement
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.scan import is_direct
from ladderlight.board.scanning.separation import separating_bits
from ladderlight.units.words import joined


def selected(pictures: Sequence[CodedPicture], match: str) -> list[CodedPicture]:
    """Return the pictures whose name, or file name, matches a pattern with ``*`` and ``?``.

    Raises ArrangementError when there are pictures but none matches.
    """
    chosen = matching(match, pictures, lambda picture: (picture.origin.name, file_name(picture.origin.source)))
    if pictures and not chosen:
        names = ", ".join(sorted(picture.origin.name for picture in pictures)[:6])
        raise ArrangementError(f"no picture matches {match!r}; use one of {names}")
    return chosen


def refuse_misfits(pictures: Sequence[CodedPicture], board: Board) -> None:
    """Refuse pictures of the wrong size or with codes that the board does not have; all of them at once.

    Raises
    ------
    ArrangementError
        One line for each picture.
    """
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


def refuse_other_boards(stage: str, board: Board) -> None:
    """Refuse a board whose ladders are driven by a memory that another memory addresses.

    Raises
    ------
    ArrangementError
        Names the stage that serves such a board.
    """
    for memory in board.driving_memories:
        if is_direct(board, memory):
            continue
        sources = joined([repr(name) for name in board.sources[memory.name]])
        counted = any(line.signal in (Signal.X, Signal.Y) for line in board.address_lines(memory))
        other = "tiles (tile map and tile set)" if counted else "lookup (colour look-up memory)"
        raise ArrangementError(
            f"memory {memory.name!r} is addressed by memory {sources}, so its words are not a picture and stage "
            f"{stage!r} cannot place one; use {other} instead"
        )


def collision(conflict: Conflict, board: Board) -> str:
    """Return one line: the two places that need different words, and the lines that would keep them apart."""
    first, second = (
        (int(board.x_grid.samples[place.x]), int(board.y_grid.samples[place.y]), place.bank)
        for place in (conflict.first, conflict.second)
    )
    missing = separating_bits(board, first, second, [board.memory(conflict.memory)])
    if missing:
        action = f"add {joined(missing, 'or')} to the address of memory {conflict.memory!r}"
    else:
        action = f"check the gates and constants in the address of memory {conflict.memory!r}"
    return f"{conflict}; {action}, or show the same at both places"


def placed_words(placement: Placement) -> dict[str, MemoryContents]:
    """Return the words of every memory with the bits that a placement has written."""
    return {name: MemoryContents(words=words, written=written) for name, (words, written) in placement.words().items()}


def contents_of(placement: Placement, pictures: Sequence[CodedPicture], banks: Sequence[int]) -> Contents:
    """Return the contents of a placement, with its pictures and the bank of each."""
    return Contents(
        memories=placed_words(placement),
        pictures=tuple(
            PlacedPicture(origin=picture.origin, bank=bank) for picture, bank in zip(pictures, banks, strict=True)
        ),
    )
