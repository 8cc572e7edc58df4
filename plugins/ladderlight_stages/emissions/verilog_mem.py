"""Verilog memory files for ``$readmemh`` (IEEE 1364)."""

from typing import Annotated

from ladderlight import Board, Contents, DeviceFile, Example, Option, Piece, pieces, stage
from ladderlight_stages.programmer_files import NamePattern, Size, Split, file_problems

_PER_LINE = 16


@stage(
    help="Write each device as a memory file for Verilog's $readmemh.",
    rule=file_problems,
    example=Example(options={"name": "{memory}.mem"}),
)
def verilog_mem(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.mem",
    split: Split = "none",
    size: Size = None,
    offset: Annotated[int, Option("address of a file's first element", minimum=0)] = 0,
) -> list[DeviceFile]:
    """Return each device as hexadecimal elements, one for each word, with addresses that count elements.

    With ``split`` the elements are the even or the odd bytes.
    """
    return [
        piece.file(name, _text(piece, offset).encode("ascii"), offset=offset * piece.element)
        for piece in pieces(contents, board, split=split, size=size)
    ]


def _text(piece: Piece, offset: int) -> str:
    """Write no more digits than the elements have bits for: simulators warn of more."""
    bits = 8 if piece.span.step > 1 else piece.device.part.width
    digits = (bits + 3) // 4
    values = piece.elements.tolist()
    lines = [
        f"// device {piece.device.name}, {piece.device.part.number}: {len(values)} elements of {bits} bits",
        f"@{offset:X}",
    ]
    lines += [
        " ".join(f"{value:0{digits}X}" for value in values[start : start + _PER_LINE])
        for start in range(0, len(values), _PER_LINE)
    ]
    return "\n".join([*lines, ""])
