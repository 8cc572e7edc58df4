"""``ladderlight build``."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from ladderlight.commands.building import build_revisions
from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import DEFAULT, recipe_path
from ladderlight.commands.terminal.reporting import stderr
from ladderlight.errors import BuildError, UsageError
from ladderlight.system.paths import is_file, path_trouble


def build(
    recipe: options.RecipeArgument = None,
    *,
    workers: options.WorkersOption = None,
    processes: Annotated[
        bool, typer.Option("--processes", help="Work in processes, for plugins that keep threads waiting.")
    ] = False,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Work on the cluster of this scheduler; 'local' starts one here."),
    ] = None,
    cards: Annotated[
        bool, typer.Option("--cards", help="Build test cards instead of the pictures, into OUTPUT-cards.")
    ] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Take cautions for errors, and do not build.")] = False,
    keep_going: Annotated[
        bool, typer.Option("--keep-going", help="Build the trays that have no bad picture, and name the others.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Build even if nothing has changed.")] = False,
    no_cache: Annotated[
        bool, typer.Option("--no-cache", help="Build everything anew, and neither use nor fill the cache.")
    ] = False,
    clear_cache: Annotated[
        bool, typer.Option("--clear-cache", help="Empty the cache of this user first; without a recipe, no more.")
    ] = False,
    revision: options.RevisionOption = None,
    json_: options.JsonOption = False,
    quiet: options.QuietOption = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", "-v", help="Print notes too, and every picture with its measures.")
    ] = False,
) -> None:
    """Build a recipe: device files, proof and burn sheet.

    Nothing is done if nothing has changed since the last build.
    """
    began = time.time_ns()
    if processes and cluster is not None:
        raise UsageError("--processes and --cluster exclude each other; leave one out")
    if clear_cache:
        _clear_cache(quiet=quiet)
        if recipe is None and not is_file(Path(DEFAULT)):
            return
    complete = build_revisions(
        recipe_path(recipe),
        began=began,
        workers=workers,
        processes=processes,
        cluster=cluster,
        cards=cards,
        strict=strict,
        keep_going=keep_going,
        anyway=cards or force or no_cache or clear_cache,
        cached=not no_cache,
        revision=revision,
        json_=json_,
        quiet=quiet,
        verbose=verbose,
    )
    if not complete:
        raise typer.Exit(1)


def _clear_cache(*, quiet: bool) -> None:
    from ladderlight.cache.folder import VARIABLE
    from ladderlight.cache.store import Cache

    cache = Cache.of_user()
    if cache is None:
        raise BuildError("there is no cache of this user to empty; name a folder of yours", where=VARIABLE)
    with path_trouble(BuildError, cache.folder, "cannot be emptied", "check its permissions"):
        removed = cache.clear()
    stderr(quiet=quiet).print(f"{cache.folder}: {removed / 1e6:,.1f} MB removed", whole=[f"{cache.folder}:"])
