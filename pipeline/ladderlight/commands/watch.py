"""``ladderlight watch``."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer


def watch(
    recipe: Annotated[Path, typer.Argument(help="The recipe to watch.", metavar="RECIPE")],
    *,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads for the pictures.")] = None,
) -> None:
    """Build a recipe, and again whenever it or anything beside it changes. Ctrl-C ends it."""
    import watchfiles

    from ladderlight.building import build
    from ladderlight.commands.reporting import stderr
    from ladderlight.errors import LadderlightError
    from ladderlight.recipe import load

    console = stderr()
    output = None
    usual = watchfiles.DefaultFilter()  # leaves out caches, version control, editors' swap files

    def matters(change: watchfiles.Change, path: str) -> bool:
        return usual(change, path) and not (output and Path(path).is_relative_to(output))

    changes = watchfiles.watch(
        recipe.resolve().parent,
        watch_filter=matters,
        rust_timeout=300,
        yield_on_timeout=True,
    )
    with suppress(KeyboardInterrupt):
        next(changes)  # starts watching, so that a change during the first build is not missed
        while True:
            try:
                loaded = load(recipe)
                output = loaded.output.resolve()
                built = build(loaded, workers=workers)
                changed = [device["name"] for device in built.manifest["devices"] if device["changed"]]
                console.print(f"built {built.proof}; to burn: {', '.join(changed) or 'nothing'}", markup=False)
            except LadderlightError as error:
                console.print(str(error), markup=False)
            console.print("watching; Ctrl-C ends", style="dim")
            while not next(changes):
                pass
