"""``ladderlight decode``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def decode(
    recipe: Annotated[Path, typer.Argument(help="The recipe of the board.", metavar="RECIPE")],
    dumps: Annotated[
        list[Path],
        typer.Argument(
            help="A file for each device: binary, Intel HEX, S-record; named after the devices, or in their order.",
            metavar="DUMP...",
        ),
    ],
    *,
    into: Annotated[Path, typer.Option(help="Folder for the pictures.")] = Path("decoded"),
    big_endian: Annotated[bool, typer.Option("--big-endian", help="Wide words stand high byte first.")] = False,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout.")] = False,
) -> None:
    """Turn chips that were read back into pictures, one PNG for every bank."""
    from ladderlight.commands.reporting import print_document, stdout
    from ladderlight.output import write_whole
    from ladderlight.readback.decoding import decode as decode_words
    from ladderlight.readback.decoding import memories_of_dumps, read_dumps
    from ladderlight.recipe import load

    board = load(recipe, pictures="ignored").board
    words = memories_of_dumps(board, read_dumps(dumps), "big" if big_endian else "little")
    written = []
    for bank, data in decode_words(board, words):
        path = into / f"bank{bank}.png"
        write_whole(path, data)
        written.append(str(path))
    if json_:
        print_document({"pictures": written})
        return
    for name in written:
        stdout().print(name, markup=False)
