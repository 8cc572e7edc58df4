"""``ladderlight build``."""

from __future__ import annotations

import time
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ladderlight.cache.folder import VARIABLE
from ladderlight.commands.terminal.options import (
    DEFAULT,
    JsonOption,
    QuietOption,
    RecipeArgument,
    WorkersOption,
    recipe_path,
)
from ladderlight.errors import BuildError, UsageError
from ladderlight.system.paths import is_file, path_trouble
from ladderlight.system.printable import printable

if TYPE_CHECKING:
    from ladderlight.workspace.up_to_date import LastBuilt


def build(
    recipe: RecipeArgument = None,
    *,
    workers: WorkersOption = None,
    processes: Annotated[
        bool, typer.Option("--processes", help="Work in processes, for plugins that keep threads waiting.")
    ] = False,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Work on the cluster of this scheduler; 'local' starts one here."),
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Take cautions for errors, and do not build.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Build even if nothing has changed.")] = False,
    no_cache: Annotated[
        bool, typer.Option("--no-cache", help="Build everything anew, and neither use nor fill the cache.")
    ] = False,
    clear_cache: Annotated[
        bool, typer.Option("--clear-cache", help="Empty the cache of this user first; without a recipe, no more.")
    ] = False,
    json_: JsonOption = False,
    quiet: QuietOption = False,
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
    last = None if force or no_cache or clear_cache else up_to_date(path)
    if last is not None and not (strict and last.cautioned):
        _report_unchanged(last, json_=json_, quiet=quiet, verbose=verbose)
        return

    from dataclasses import asdict

    from ladderlight.commands.terminal.progress import picture_progress
    from ladderlight.commands.terminal.reporting import print_document, print_findings, stderr, stdout
    from ladderlight.engine.executors.choice import executor_of
    from ladderlight.recipe import load
    from ladderlight.workspace.build import build as build_recipe

    loaded = load(path)
    with (
        executor_of(workers, processes=processes, cluster=cluster) as executor,
        picture_progress(quiet=quiet) as (progress, refused),
    ):
        built = build_recipe(
            loaded,
            executor=executor,
            progress=progress,
            refused=refused,
            strict=strict,
            cached=not no_cache,
            began=began,
        )
    told = (finding for finding in built.findings if verbose or finding.level != "note")
    print_findings(stderr(quiet=quiet), told)
    if json_:
        print_document(
            {
                "ok": True,
                "up_to_date": False,
                "output": str(built.output),
                "proof": str(built.proof),
                "device_files": [str(path) for path in built.device_files],
                "manifest": built.manifest,
                "findings": list(map(asdict, built.findings)),
            }
        )
        return
    console = stdout(quiet=quiet)
    for picture in built.manifest["pictures"] if verbose else ():
        console.print(_measures(picture))
    for device in built.manifest["devices"]:
        console.print(f"{device['name']}: {device['part']}, {device['burn']['text']}")
        pieces = {piece["file"]: piece for piece in device["pieces"]}
        for name in device["files"]:
            sums = f"  CRC-32 {pieces[name]['crc32']}, sum {pieces[name]['sum16']}" if name in pieces else ""
            console.print(f"{built.output / 'devices' / name}{sums}")
    for note in built.manifest["notes"]:
        console.print(f"note: {note}")
    console.print(f"{built.output / 'burn-sheet.txt'}")
    console.print(f"{built.proof}")


def _report_unchanged(last: LastBuilt, *, json_: bool, quiet: bool, verbose: bool) -> None:
    from ladderlight.commands.terminal.report_stream import report_stream
    from ladderlight.commands.terminal.reporting import print_document

    if json_:
        names = [name for device in last.manifest["devices"] for name in device["files"]]
        print_document(
            {
                "ok": True,
                "up_to_date": True,
                "output": str(last.output),
                "proof": str(last.output / "proof" / "index.html"),
                "device_files": [str(last.output / "devices" / name) for name in names],
                "manifest": last.manifest,
                "findings": last.findings,
            }
        )
    elif not quiet:
        lines = [_measures(picture) for picture in last.manifest["pictures"]] if verbose else []
        report_stream().write("".join(f"{printable(line)}\n" for line in (*lines, f"{last.output}: up to date")))


def _clear_cache(*, quiet: bool) -> None:
    from ladderlight.cache.store import Cache
    from ladderlight.commands.terminal.reporting import stderr

    cache = Cache.of_user()
    if cache is None:
        raise BuildError("there is no cache of this user to empty; name a folder of yours", where=VARIABLE)
    with path_trouble(BuildError, cache.folder, "cannot be emptied", "check its permissions"):
        removed = cache.clear()
    stderr(quiet=quiet).print(f"{cache.folder}: {removed / 1e6:,.1f} MB removed")


def _measures(picture: Mapping[str, Any]) -> str:
    figures = [f"{name} {_measure(value)}" for name, value in picture.get("metrics", {}).items()]
    return ", ".join([f"{picture['source']}: bank {picture['bank']}", *figures])


def _measure(value: object) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{name} {_measure(part)}" for name, part in value.items())
    return f"{value:.4g}" if isinstance(value, int | float) else f"{value}"
