"""``ladderlight start``."""

import shlex
from pathlib import Path
from typing import Annotated

import typer

from ladderlight.commands.terminal.options import JsonOption, QuietOption
from ladderlight.commands.terminal.reporting import print_document, stdout
from ladderlight.system.printable import json_text


def start(
    folder: Annotated[Path, typer.Argument(help="A new folder for the project.", metavar="DIR")],
    *,
    json_: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Start a project: a recipe and pictures, ready to build."""
    from ladderlight.recipe import schema
    from ladderlight.starter import write_project

    written = write_project(folder, schema=json_text(schema()))
    recipe = written[0]
    if json_:
        print_document({"ok": True, "recipe": str(recipe), "files": [str(path) for path in written]})
        return
    console = stdout(quiet=quiet)
    following = f"Next: ladderlight build {shlex.quote(str(recipe))}"
    console.print(*written, "", following, whole=[following])
