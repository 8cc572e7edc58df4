"""``ladderlight bench``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ladderlight.commands.terminal.options import JsonOption, QuietOption, RecipeArgument, recipe_path


def bench(
    recipe: RecipeArgument = None,
    *,
    page: Annotated[Path | None, typer.Option(metavar="FILE.html", help="Write the sheet as a page to print.")] = None,
    csv: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Write wiring.csv and parts.csv for a spreadsheet into a folder."),
    ] = None,
    json_: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Print wiring, parts, counts and meter readings of a board.

    It needs no pictures and no build. Every build has it as bench-sheet.txt and bench-sheet.html.
    """
    from ladderlight.bench.sheets.document import bench_of, document_of
    from ladderlight.bench.sheets.page import bench_page
    from ladderlight.bench.sheets.spreadsheet import spreadsheets
    from ladderlight.bench.sheets.text import bench_sheet
    from ladderlight.commands.terminal.reporting import print_document, stdout
    from ladderlight.recipe import load
    from ladderlight.recipe.inputs import input_files, refuse_in_the_way
    from ladderlight.storage.exports import export
    from ladderlight.system.printable import printable

    loaded = load(recipe_path(recipe), pictures="ignored")
    name, found = printable(loaded.name), bench_of(loaded.board)
    written = {}
    if page is not None:
        written["bench --page"] = {page: bench_page(name, found).encode()}
    if csv is not None:
        written["bench --csv"] = {csv / file: data for file, data in spreadsheets(found).items()}
    for command, files in written.items():
        refuse_in_the_way(files, loaded, command=command)
    for command, files in written.items():
        export(files, command=command, inputs=input_files(loaded).values())
    if json_:
        print_document(document_of(found))
        return
    console = stdout(quiet=quiet)
    if written:
        for file in (file for files in written.values() for file in files):
            console.print(str(file))
        return
    for line in bench_sheet(name, found).splitlines():
        console.print(line, markup=False)
