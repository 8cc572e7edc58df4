"""Options that emission stages share, and their checks before there are contents."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from ladderlight import Board, DeviceFileError, Option, Piece, Problem, planned_pieces

NamePattern = Annotated[str, Option("file name", fields=("device", "memory", "part", "piece", "project"))]
Order = Annotated[Literal["little", "big"], Option("byte order of words wider than 8 bits")]
Split = Annotated[
    Literal["none", "even_odd"], Option("whether the even and the odd bytes of wider words go into separate files")
]
Size = Annotated[
    int | None, Option("most bytes in one file, for programmers with a limit; all if not given", minimum=1)
]
Offset = Annotated[int, Option("address of a file's first byte", minimum=0)]
LeaveOutFill = Annotated[bool, Option("leave out records of FFh alone, which an erased chip holds already")]


def file_problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield what is wrong with ``name``, ``split`` and ``size`` of an emission stage."""
    try:
        planned = planned_pieces(board, split=options["split"], size=options["size"])
    except DeviceFileError as error:
        yield Problem.of(error, "size")
        return
    yield from _name_problems(planned, options["name"])


def _name_problems(planned: list[Piece], pattern: str) -> Iterator[Problem]:
    """Yield what is wrong with the names that files get from a pattern."""
    names: set[str] = set()
    for piece in planned:
        try:
            name = piece.file_name(pattern)
        except DeviceFileError as error:
            yield Problem.of(error, "name")
            return
        if name.casefold() in names:
            yield Problem(
                where=("name",),
                what=f"several files would be written to devices/{name}",
                action="put {device} or {piece} into the name",
            )
            return
        names.add(name.casefold())


def largest(board: Board, options: Mapping[str, Any]) -> int:
    """Return the bytes of the largest file; 0 where ``size`` is wrong."""
    try:
        return max(piece.size for piece in planned_pieces(board, split=options["split"], size=options["size"]))
    except DeviceFileError:
        return 0
