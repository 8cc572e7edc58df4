"""``ladderlight compare``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from ladderlight.readback.comparison import Comparison

_SHOWN = 8


def compare(
    recipe: Annotated[Path, typer.Argument(help="The recipe that was built.", metavar="RECIPE")],
    dump: Annotated[
        Path, typer.Argument(help="What was read out of the chip: binary, Intel HEX, S-record.", metavar="DUMP")
    ],
    *,
    device: Annotated[
        str | None, typer.Option(help="The device that was read; by default the one that the file is named after.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(help="Write a PNG of the screens with everything that differs marked.")
    ] = None,
    most: Annotated[int, typer.Option(min=0, help="How many differences to list one by one.")] = 1000,
    big_endian: Annotated[
        bool | None,
        typer.Option(
            "--big-endian/--little-endian",
            help="Byte order of wide words; by default that of the files that were built.",
        ),
    ] = None,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout.")] = False,
) -> None:
    """Compare a chip that was read back with the last build, and say what may be wrong.

    The exit status is 0 when they are the same and 1 when they differ.
    """
    from ladderlight.commands.reporting import print_document, stdout
    from ladderlight.devices.files import read_device_file
    from ladderlight.output import write_whole
    from ladderlight.proof.screens import shown_banks
    from ladderlight.readback.comparison import choose_device, document_of
    from ladderlight.readback.comparison import compare as compare_words
    from ladderlight.readback.damage import damage_png, with_device
    from ladderlight.readback.decoding import read_dumps
    from ladderlight.readback.lastbuild import last_build
    from ladderlight.recipe import load

    loaded = load(recipe, pictures="ignored")
    board = loaded.board
    build = last_build(loaded.output, board)
    chosen = choose_device(board, device, dump.name)
    (name, data), *_ = read_dumps([dump])
    order = build.order_of(chosen) if big_endian is None else "big" if big_endian else "little"
    found = read_device_file(name, data, chosen, order)
    comparison = compare_words(board, chosen, build.words, found, pictures=build.pictures, most=most)
    if picture is not None:
        banks = shown_banks(board, build.manifest)
        write_whole(picture, damage_png(board, build.words, with_device(build.words, chosen, found), banks))
    if json_:
        print_document(document_of(comparison) | ({"picture": str(picture)} if picture else {}))
    else:
        _print(stdout(), comparison)
        if picture is not None:
            stdout().print(str(picture), markup=False)
    if not comparison.same:
        raise typer.Exit(1)


def _print(console: Console, comparison: Comparison) -> None:
    def line(text: str) -> None:
        console.print(text, markup=False)

    if comparison.same:
        line(f"device {comparison.device} holds what it should: all {comparison.words} words are the same")
        return
    line(f"device {comparison.device}: {comparison.count} of {comparison.words} words {_differ(comparison.count)}")
    for diagnosis in comparison.diagnoses:
        line(f"likely ({diagnosis.confidence:.0%}): {diagnosis.text}; explains {diagnosis.explained:.1%} of it")
    if not comparison.diagnoses:
        line("no usual fault explains it: burn the chip again, and suspect the chip if it stays")
    for stretch in comparison.ranges[:_SHOWN]:
        line(f"{stretch.first:06X}h to {stretch.last:06X}h  {_words(stretch.count)}")
    if len(comparison.ranges) > _SHOWN:
        line(f"and {len(comparison.ranges) - _SHOWN} more ranges")
    for difference in comparison.differences[:_SHOWN]:
        line(
            f"{difference.address:06X}h  should be {difference.wanted:02X}h, is {difference.found:02X}h, "
            f"bits {difference.bits:b}  {difference.where}"
        )
    if comparison.count > _SHOWN:
        line(f"and {comparison.count - _SHOWN} more differences; --json lists up to --most of them")


def _words(count: int) -> str:
    return f"{count} word{'s' * (count != 1)} {_differ(count)}"


def _differ(count: int) -> str:
    return "differs" if count == 1 else "differ"
