"""``ladderlight guide``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ladderlight.commands.terminal.options import QuietOption

GUIDES = {
    "recipe": "recipes/README.md",
    "stages": "plugins/README.md",
    "changes": "recipes/CHANGELOG.md",
    "readme": "README.md",
    "developers": "DEVELOPERS.md",
}
"""The guides by name, as paths in the project's tree and in the folder of guides of an installed package."""


def guide(
    name: Annotated[str | None, typer.Argument(help=f"One of {', '.join(GUIDES)}.", metavar="[NAME]")] = None,
    *,
    open_: Annotated[bool, typer.Option("--open", help="Open the guide in a browser too.")] = False,
    quiet: QuietOption = False,
) -> None:
    """Print where the guides are, or open one."""
    import webbrowser

    from ladderlight.commands.terminal.reporting import stderr, stdout
    from ladderlight.errors import UsageError, nearest_word

    if name is not None and name not in GUIDES:
        raise UsageError(f"there is no guide {name!r}; {nearest_word(name, GUIDES)}")
    console = stdout(quiet=quiet)
    if name is None and not open_:
        for each in GUIDES:
            console.print(f"{each:<{max(map(len, GUIDES))}}  {path_of(each)}", whole=[str(path_of(each))])
        return
    path = path_of(name or next(iter(GUIDES)))
    console.print(path)
    if open_ and not webbrowser.open(path.as_uri()):
        stderr(quiet=quiet).print("no browser was found; open the file above")


def path_of(name: str) -> Path:
    """Return the path of a guide: in the installed package, or in the tree that holds the source.

    Raises
    ------
    UsageError
        When the guide is in neither.
    """
    from ladderlight.errors import UsageError

    package = Path(__file__).resolve().parents[2]
    places = [folder / GUIDES[name] for folder in (package / "guides", package.parents[1])]
    for path in places:
        if path.is_file():
            return path
    raise UsageError("there is no such file; install Ladderlight again", where=str(places[0]))
