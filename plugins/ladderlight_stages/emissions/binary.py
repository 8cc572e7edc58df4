"""Plain binary files."""

from __future__ import annotations

from typing import Annotated, Literal

from ladderlight import Board, Contents, DeviceFile, Option, pieces, stage


@stage(help="Write each device as a plain binary file of exactly its size.")
def binary(
    contents: Contents,
    board: Board,
    *,
    name: Annotated[
        str, Option("file name, with {device}, {memory}, {part}, {piece} and {project} put in")
    ] = "{device}.bin",
    order: Annotated[Literal["little", "big"], Option("byte order of words wider than 8 bits")] = "little",
    split: Annotated[
        Literal["none", "even_odd"], Option("whether even and odd bytes of wider words go into files of their own")
    ] = "none",
    size: Annotated[int | None, Option("most bytes in one file, for programmers that take less", minimum=1)] = None,
) -> list[DeviceFile]:
    """Give the words of every device as bytes, lowest address first, nothing before, between or after them.

    Spare words hold the memory's fill, so that the file is of the size that a programmer expects (common practice).
    """
    return [piece.file(name, piece.data) for piece in pieces(contents, board, order=order, split=split, size=size)]
