"""Arguments and options that several commands have, each declared once."""

from pathlib import Path
from typing import Annotated

import typer

from ladderlight.commands.terminal.arguments import DEFAULT

_HELP = f"The recipe, or a folder with a {DEFAULT}; by default {DEFAULT} in the current folder."

_FIRST = f"{_HELP} The first argument is a recipe if it ends in .toml or is such a folder."

RecipeArgument = Annotated[Path | None, typer.Argument(help=_HELP, metavar="RECIPE", show_default=False)]
FirstArgument = Annotated[Path | None, typer.Argument(help=_FIRST, metavar="RECIPE", show_default=False)]
WorkersOption = Annotated[
    int | None,
    typer.Option(
        min=1, metavar="NUMBER", help="Threads or processes for the pictures; the result is the same for any number."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout, with --quiet too.")]
TrayOption = Annotated[
    int | None,
    typer.Option("--tray", min=1, metavar="NUMBER", help="The tray of the dumps; by default found by their contents."),
]
TraysOption = Annotated[
    list[int] | None, typer.Option("--tray", min=1, metavar="NUMBER", help="A tray; may be repeated. All by default.")
]
BigEndianOption = Annotated[
    bool | None,
    typer.Option(
        "--big-endian/--little-endian", help="Byte order of wide words; by default that of the device files of a build."
    ),
]
RevisionOption = Annotated[
    str | None, typer.Option("--revision", metavar="NAME", help="A revision of the recipe; all of them by default.")
]
OneRevisionOption = Annotated[
    str | None, typer.Option("--revision", metavar="NAME", help="The revision, if the recipe has several.")
]
QuietOption = Annotated[bool, typer.Option("--quiet", "-q", help="Print errors only.")]
