"""``ladderlight build``."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ladderlight.cache.folder import VARIABLE
from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import DEFAULT, recipe_path
from ladderlight.commands.terminal.built import print_built, print_unchanged
from ladderlight.commands.terminal.reporting import print_document, print_findings, print_revisions, stderr
from ladderlight.errors import BuildError, Finding, LadderlightError, PictureError, UsageError
from ladderlight.storage.output import IN_PLACE
from ladderlight.system.paths import is_file, path_trouble

if TYPE_CHECKING:
    from ladderlight.workspace.up_to_date import LastBuilt


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
    from ladderlight.workspace.up_to_date import up_to_date

    began = time.time_ns()
    if processes and cluster is not None:
        raise UsageError("--processes and --cluster exclude each other; leave one out")
    if clear_cache:
        _clear_cache(quiet=quiet)
        if recipe is None and not is_file(Path(DEFAULT)):
            return
    path = recipe_path(recipe)

    def unchanged(of: str | None) -> LastBuilt | None:
        last = None if cards or force or no_cache or clear_cache else up_to_date(path, of)
        return None if last is not None and strict and last.cautioned else last

    if last := unchanged(revision):  # the recipe need not be read; of one with revisions, all must be known
        document = print_unchanged(last, json_=json_, quiet=quiet, verbose=verbose)
        if json_:
            print_document(document)
        return

    from ladderlight.commands.terminal.progress import picture_progress
    from ladderlight.engine.cards import fitting_cards
    from ladderlight.engine.executors import executor_of
    from ladderlight.recipe import load_revisions
    from ladderlight.workspace.build import build as build_recipe

    documents: dict[str | None, dict[str, Any]] = {}
    placed: list[str | None] = []
    revisions = load_revisions(path, pictures="cards" if cards else "needed", revision=revision)
    with executor_of(workers, processes=processes, cluster=cluster) as executor:
        for loaded in revisions:
            last = unchanged(loaded.revision) if loaded.revision is not None and revision is None else None
            if last is not None:
                documents[loaded.revision] = print_unchanged(last, json_=json_, quiet=quiet, verbose=verbose)
                continue
            fitting, left = fitting_cards(loaded) if cards else (loaded, [])
            try:
                with _named(loaded.revision, placed), picture_progress(quiet=quiet) as (progress, refused):
                    built = build_recipe(
                        fitting,
                        executor=executor,
                        workers=workers,
                        progress=progress,
                        refused=refused,
                        strict=strict,
                        keep_going=keep_going,
                        cached=not no_cache,
                        began=None if cards else began,
                        together=[each.revision for each in revisions if each.revision],
                    )
            except PictureError as error:
                if not keep_going or len(revisions) == 1:
                    raise
                bad = [Finding.error(fault.where, fault.message) for fault in error.faults]
                print_findings(stderr(), bad)
                documents[loaded.revision] = {"ok": False, "findings": list(map(asdict, bad))}
                continue
            placed.append(loaded.revision)
            documents[loaded.revision] = print_built(
                built, left, json_=json_, quiet=quiet, verbose=verbose, cards=cards
            )
    if json_:
        print_revisions(documents)
    if not all(document["ok"] for document in documents.values()):
        raise typer.Exit(1)


@contextmanager
def _named(revision: str | None, placed: Sequence[str | None]) -> Iterator[None]:
    """Name a revision in its errors; when it is stopped, also those that are in place."""
    try:
        yield
    except LadderlightError as error:
        if revision is None:
            raise
        name = f"revision {revision}"
        faults = [replace(one, where=f"{name}: {one.where}" if one.where else name) for one in error.faults]
        raise type(error).of(faults) from None
    except KeyboardInterrupt as stop:
        if placed:
            states = [*((name, IN_PLACE) for name in placed), *((revision, note) for note in stop.__notes__)]
            stop.__notes__ = [f"revision {name}: {what}" for name, what in states]
        raise


def _clear_cache(*, quiet: bool) -> None:
    from ladderlight.cache.store import Cache

    cache = Cache.of_user()
    if cache is None:
        raise BuildError("there is no cache of this user to empty; name a folder of yours", where=VARIABLE)
    with path_trouble(BuildError, cache.folder, "cannot be emptied", "check its permissions"):
        removed = cache.clear()
    stderr(quiet=quiet).print(f"{cache.folder}: {removed / 1e6:,.1f} MB removed", whole=[f"{cache.folder}:"])
