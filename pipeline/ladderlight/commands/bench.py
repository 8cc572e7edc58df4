"""``ladderlight bench``."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import recipe_path
from ladderlight.commands.terminal.reporting import print_revisions, stdout
from ladderlight.errors import LadderlightError
from ladderlight.system.printable import printable


def bench(
    recipe: options.RecipeArgument = None,
    *,
    page: Annotated[Path | None, typer.Option(metavar="FILE.html", help="Write the sheet as a page to print.")] = None,
    csv: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Write wiring.csv and parts.csv for a spreadsheet into a folder."),
    ] = None,
    revision: options.RevisionOption = None,
    json_: options.JsonOption = False,
    quiet: options.QuietOption = False,
) -> None:
    """Print wiring, parts, counts and meter readings of a board.

    It needs no pictures and no build. Every build has it as bench-sheet.txt and bench-sheet.html.
    """
    from ladderlight.bench.sheets.document import bench_of, document_of
    from ladderlight.bench.sheets.files import WIDTH, bench_page, bench_sheet, spreadsheets
    from ladderlight.recipe import load_revisions
    from ladderlight.recipe.inputs import writer_of
    from ladderlight.storage.output import settled

    path = recipe_path(recipe)
    one = page is not None or csv is not None
    recipes = load_revisions(path, pictures="ignored", revision=revision, one=one)
    for each in recipes:
        with suppress(LadderlightError, OSError), settled(each.output):
            pass  # finishes a build that was killed; what keeps it from that is for those who read the output
    first, title = recipes[0], printable(recipes[0].title)
    benches = {each.revision: bench_of(each.board, each.findings) for each in recipes}
    documents = {name: document_of(found) for name, found in benches.items()}
    written = {}
    if page is not None:
        written["bench --page"] = {page: bench_page(title, benches[first.revision]).encode()}
    if csv is not None:
        written["bench --csv"] = {csv / file: data for file, data in spreadsheets(benches[first.revision]).items()}
    writers = [writer_of(files, first, command=command) for command, files in written.items()]
    for write, files in zip(writers, written.values(), strict=True):
        write(files)
    console = stdout(quiet=quiet)
    width = min(console.columns or WIDTH, WIDTH)
    if json_:
        print_revisions(documents)
    elif written:
        console.print(*(file for files in written.values() for file in files))
    for each in recipes if not json_ and not written else ():
        console.print(*bench_sheet(printable(each.title), benches[each.revision], width=width).splitlines())
        if each is not recipes[-1]:
            console.print("", "")
    if not all(document["ok"] for document in documents.values()):
        raise typer.Exit(1)
