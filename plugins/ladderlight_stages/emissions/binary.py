"""Plain binary files."""

from __future__ import annotations

from ladderlight import Board, Contents, DeviceFile, Example, pieces, stage
from ladderlight_stages.programmer_files.options import NamePattern, Order, Size, Split, file_problems


@stage(
    help="Write each device as a plain binary file of exactly its size.",
    rule=file_problems,
    example=Example(options={"name": "{project}-{device}.bin"}),
)
def binary(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.bin",
    order: Order = "little",
    split: Split = "none",
    size: Size = None,
) -> list[DeviceFile]:
    """Give the words of every device as bytes, lowest address first, nothing before, between or after them.

    Spare words hold the memory's fill, so that the file is of the size that a programmer expects (common practice).
    """
    return [piece.file(name, piece.data) for piece in pieces(contents, board, order=order, split=split, size=size)]
