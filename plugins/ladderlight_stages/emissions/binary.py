"""Plain binary files."""

from ladderlight import Board, Contents, DeviceFile, Example, pieces, stage
from ladderlight_stages.programmer_files import NamePattern, Order, Size, Split, file_problems


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
    """Return the words of each device as bytes, lowest address first, and nothing else.

    Unused words hold the memory's fill: programmers expect a file of the device's size (common practice).
    """
    return [piece.file(name, piece.data) for piece in pieces(contents, board, order=order, split=split, size=size)]
