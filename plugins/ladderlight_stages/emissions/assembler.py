"""Assembler source files with the bytes in data directives."""

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from ladderlight import Board, Contents, DeviceFile, Example, Option, Piece, Problem, pieces, stage
from ladderlight_stages.programmer_files import NamePattern, Order, Size, Split, file_problems, planned

_DIRECTIVE = re.compile(r"[.!]?[A-Za-z]\w*", re.ASCII)
_LABEL = re.compile(r"[A-Za-z_.][\w.-]*", re.ASCII)


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    yield from file_problems(board, options)
    if not _DIRECTIVE.fullmatch(options["directive"]):
        what = f"directive {options['directive']!r} is not one word of letters, digits and underscores"
        yield Problem(where=("directive",), what=what, action='write it as in ".byte", "DB" or "FCB"')
    for piece in planned(board, options) if options["label"] else ():
        if not _LABEL.fullmatch(piece.name(options["label"])):
            what = f"label {piece.name(options['label'])!r} is not a name for an assembler"
            yield Problem(where=("label",), what=what, action="begin with a letter, without spaces")
            return


@stage(
    help="Write each device as byte directives for an assembler.",
    rule=_problems,
    example=Example(options={"directive": "DB", "number": "h", "per_line": 8, "label": "{memory}"}),
)
def assembler(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.s",
    directive: Annotated[str, Option('directive for bytes, such as ".byte", "DB" or "FCB"')] = ".byte",
    label: Annotated[
        str, Option("label before them; none if empty", fields=("device", "memory", "part", "piece"))
    ] = "",
    number: Annotated[Literal["0x", "$", "h"], Option("form of hexadecimal numbers: 0x1F, $1F or 1Fh")] = "0x",
    per_line: Annotated[int, Option("bytes on a line", minimum=1, maximum=64)] = 16,
    order: Order = "little",
    split: Split = "none",
    size: Size = None,
) -> list[DeviceFile]:
    """Return each device as lines such as ``.byte 0x1F, 0x20``, without comments: assemblers differ in theirs."""
    return [
        piece.file(name, _text(piece, directive, label, number, per_line).encode("ascii"))
        for piece in pieces(contents, board, order=order, split=split, size=size)
    ]


def _text(piece: Piece, directive: str, label: str, number: str, per_line: int) -> str:
    heading = f"{piece.name(label)}:\n" if label else ""
    texts = {"0x": "0x{:02X}", "$": "${:02X}", "h": "0{:02X}h"}
    byte_texts = [texts[number].format(value) for value in range(256)]
    return heading + "".join(
        f"    {directive} {', '.join(byte_texts[value] for value in piece.data[start : start + per_line])}\n"
        for start in range(0, len(piece.data), per_line)
    )
