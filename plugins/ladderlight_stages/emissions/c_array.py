"""C source files with the words as an array."""

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from ladderlight import Board, Contents, DeviceFile, DeviceFileError, Example, Option, Problem, pieces, refuse, stage
from ladderlight_stages.programmer_files import NamePattern, Size, Split, file_problems, planned

_IDENTIFIER = re.compile(r"[A-Za-z_]\w*", re.ASCII)
_KEYWORDS = """
    auto break case char const continue default do double else enum extern float for goto if inline int long
    register restrict return short signed sizeof static struct switch typedef union unsigned void volatile while
"""
"""ISO/IEC 9899:1999, section 6.4.1, without those that begin with an underscore."""
_PER_LINE = 16


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    yield from file_problems(board, options)
    symbols: set[str] = set()
    for piece in planned(board, options):
        symbol = _symbol(piece.name(options["symbol"]))
        problem = next(_unlike_c(symbol), None)
        if symbol in symbols:
            what, action = f"several arrays would have the name {symbol!r}", "put {device} or {piece} into it"
            problem = Problem(where=("symbol",), what=what, action=action)
        if problem:
            yield problem
            return
        symbols.add(symbol)


def _unlike_c(symbol: str) -> Iterator[Problem]:
    if not _IDENTIFIER.fullmatch(symbol) or symbol in _KEYWORDS.split():
        what = f"symbol {symbol!r} is not a C identifier"
        yield Problem(where=("symbol",), what=what, action="use letters, digits and underscores")


@stage(help="Write each device as a C array.", rule=_problems, example=Example(options={"symbol": "{memory}_words"}))
def c_array(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.c",
    symbol: Annotated[str, Option("name of the array", fields=("device", "memory", "part", "piece"))] = "{device}",
    split: Split = "none",
    size: Size = None,
) -> list[DeviceFile]:
    """Return each device as ``const uint8_t name[131072]``; wider words as ``uint16_t`` or ``uint32_t``.

    Raises DeviceFileError when a symbol is not a C identifier.
    """
    files = []
    for piece in pieces(contents, board, split=split, size=size):
        called = _symbol(piece.name(symbol))
        refuse(_unlike_c(called), DeviceFileError)
        width = 4 if piece.element > 2 else piece.element
        texts = [f"0x{value:0{2 * width}X}" for value in piece.elements.tolist()]
        lines = [
            f"/* device {piece.device.name}, {piece.device.part.number} */",
            "#include <stdint.h>",
            "",
            f"const uint{8 * width}_t {called}[{len(texts)}] = {{",
            *(f"    {', '.join(texts[start : start + _PER_LINE])}," for start in range(0, len(texts), _PER_LINE)),
            "};",
            "",
        ]
        files.append(piece.file(name, "\n".join(lines).encode("ascii")))
    return files


def _symbol(name: str) -> str:
    return re.sub(r"[-.]", "_", name)
