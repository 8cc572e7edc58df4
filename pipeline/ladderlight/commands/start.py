"""``ladderlight start``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def start(
    folder: Annotated[Path, typer.Argument(help="A new folder for the project.", metavar="DIR")],
    *,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout.")] = False,
) -> None:
    """Start a project: a recipe that explains itself, with pictures, ready to build."""
    from ladderlight.commands.reporting import print_document, stdout
    from ladderlight.starter.project import write_project

    written = write_project(folder)
    recipe = written[0]
    if json_:
        print_document({"recipe": str(recipe), "files": [str(path) for path in written]})
        return
    console = stdout()
    for path in written:
        console.print(f"{path}", markup=False)
    console.print(f"\nNext: ladderlight build {recipe}", markup=False)
