"""``ladderlight decode``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import recipe_and_dumps
from ladderlight.commands.terminal.reporting import byte_order, print_document, stdout

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from ladderlight.readback.dumps import Dump


def decode(
    recipe: options.FirstArgument = None,
    dumps: Annotated[
        list[str] | None,
        typer.Argument(
            help="Files that together hold all devices, whole or in pieces: binary, Intel HEX, S-record; named after "
            "the devices or their files, or given in the order of the devices.",
            metavar="DUMP",
        ),
    ] = None,
    *,
    revision: options.OneRevisionOption = None,
    tray: options.TrayOption = None,
    into: Annotated[Path, typer.Option(metavar="FOLDER", help="Folder for the pictures.")] = Path("decoded"),
    big_endian: options.BigEndianOption = None,
    json_: options.JsonOption = False,
    quiet: options.QuietOption = False,
) -> None:
    """Turn chips that were read back into pictures.

    The pictures are PNG files, one for each bank; those of trays are in a folder for each tray of the last build.
    """
    from ladderlight.engine.runner import Chain
    from ladderlight.engine.trays import folder_of
    from ladderlight.readback.dumps import memories_of_readings, read_dumps, readings_of
    from ladderlight.readback.matching import by_tray, match
    from ladderlight.readback.pictures import decode as decode_words
    from ladderlight.readback.sections import sections_of
    from ladderlight.recipe import load
    from ladderlight.recipe.inputs import writer_of
    from ladderlight.storage.output import settled
    from ladderlight.workspace.last_build import last_build

    of, read = recipe_and_dumps(recipe, dumps)
    loaded = load(of, pictures="ignored", revision=revision)
    with settled(loaded.output):  # nothing is read there, but every command finishes what a killed build has left
        board = loaded.board
    sections = sections_of(board, Chain(recipe=loaded).planned_files(), byte_order(big_endian))
    held = read_dumps(read, sections)
    pictures: dict[Path, bytes] = {}
    sorted_: Mapping[int | None, Sequence[Dump]] = {None: held}
    if tray is not None or loaded.per_tray is not None:
        build = last_build(loaded.output, board, loaded.owner)
        sorted_ = by_tray(held, build, order=byte_order(big_endian), asked=tray)
    for number, dumps_ in sorted_.items():
        words = memories_of_readings(board, readings_of(match(dumps_, sections), sections))
        folder = into / folder_of(number)
        pictures |= {folder / f"bank{bank}.png": data for bank, data in decode_words(board, words)}
    writer_of(pictures, loaded, command="decode --into", read=read)(pictures)
    if json_:
        print_document({"ok": True, "pictures": list(map(str, pictures))})
    else:
        stdout(quiet=quiet).print(*pictures)
