"""``ladderlight check``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rich.console import Console


def check(
    recipe: Annotated[Path, typer.Argument(help="The recipe to check.", metavar="RECIPE")],
    *,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout.")] = False,
) -> None:
    """Check a recipe and say what its board shows: picture size, colours, timing, and what to mend."""
    from ladderlight.board import Finding
    from ladderlight.board.report import report
    from ladderlight.commands.reporting import print_document, print_findings, stdout
    from ladderlight.recipe import load

    loaded = load(recipe)
    document = report(loaded.board)
    if json_:
        print_document(document)
    else:
        console = stdout()
        _print_board(console, loaded.name, document)
        print_findings(console, (Finding(**finding) for finding in document["findings"]))
        console.print("ready to build" if document["ok"] else "mend the errors first")
    if not document["ok"]:
        raise typer.Exit(1)


def _print_board(console: Console, name: str, document: Mapping[str, Any]) -> None:
    picture = document["picture"]
    console.print(name, style="bold", markup=False)
    console.print(
        f"picture   {picture['width']} x {picture['height']} pixels, each {picture['repeat_x']} counts "
        f"by {picture['repeat_y']} lines, pixel aspect {picture['pixel_aspect']:.4g}"
    )
