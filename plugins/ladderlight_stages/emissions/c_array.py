"""C source files with the words as an array."""

from __future__ import annotations

import re
from typing import Annotated

from ladderlight import Board, Contents, DeviceFile, DeviceFileError, Example, Option, Piece, pieces, stage
from ladderlight_stages.emissions.options import NamePattern, Size, Split

_IDENTIFIER = re.compile(r"[A-Za-z_]\w*", re.ASCII)
_PER_LINE = 16


@stage(
    help="Write each device as a C array.",
    example=Example(options={"symbol": "{memory}_words"}),
)
def c_array(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.c",
    symbol: Annotated[str, Option("name of the array", fields=("device", "memory", "part", "piece"))] = "{device}",
    split: Split = "none",
    size: Size = None,
) -> list[DeviceFile]:
    """Give every device as ``const uint8_t name[131072]``; wider words as ``uint16_t`` or ``uint32_t``.

    Raises
    ------
    DeviceFileError
        When a symbol is not a C identifier.
    """
    return [
        piece.file(name, _text(piece, _symbol(piece, symbol)).encode("ascii"))
        for piece in pieces(contents, board, split=split, size=size)
    ]


def _symbol(piece: Piece, pattern: str) -> str:
    symbol = re.sub(r"[-.]", "_", piece.name(pattern))
    if not _IDENTIFIER.fullmatch(symbol):
        raise DeviceFileError(f"symbol {symbol!r} is not a C identifier; use letters, digits and underscores")
    return symbol


def _text(piece: Piece, symbol: str) -> str:
    width = 4 if piece.element > 2 else piece.element
    values = piece.elements.tolist()
    lines = [
        f"/* device {piece.device.name}, {piece.device.part.number} */",
        "#include <stdint.h>",
        "",
        f"const uint{8 * width}_t {symbol}[{len(values)}] = {{",
    ]
    lines += [
        "    " + ", ".join(f"0x{value:0{2 * width}X}" for value in values[start : start + _PER_LINE]) + ","
        for start in range(0, len(values), _PER_LINE)
    ]
    return "\n".join([*lines, "};", ""])
