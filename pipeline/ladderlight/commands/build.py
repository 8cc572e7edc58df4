"""``ladderlight build``."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ladderlight.cache.folder import VARIABLE
from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import DEFAULT, recipe_path
from ladderlight.commands.terminal.reporting import (
    print_document,
    print_findings,
    print_revisions,
    print_up_to_date,
    stderr,
    stdout,
)
from ladderlight.errors import BuildError, UsageError
from ladderlight.system.paths import is_file, path_trouble
from ladderlight.units.words import counted

if TYPE_CHECKING:
    from ladderlight.board import Finding
    from ladderlight.devices.documents import ManifestDocument, PictureDocument
    from ladderlight.workspace.build import Built
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
        document = _print_unchanged(last, json_=json_, quiet=quiet, verbose=verbose)
        if json_:
            print_document(document)
        return

    from ladderlight.commands.terminal.progress import picture_progress
    from ladderlight.engine.cards import fitting_cards
    from ladderlight.engine.executors import executor_of
    from ladderlight.recipe import load_revisions
    from ladderlight.workspace.build import build as build_recipe

    documents: dict[str | None, dict[str, Any]] = {}
    revisions = load_revisions(path, pictures="cards" if cards else "needed", revision=revision)
    with executor_of(workers, processes=processes, cluster=cluster) as executor:
        for loaded in revisions:
            last = unchanged(loaded.revision) if loaded.revision is not None and revision is None else None
            if last is not None:
                documents[loaded.revision] = _print_unchanged(last, json_=json_, quiet=quiet, verbose=verbose)
                continue
            fitting, left = fitting_cards(loaded) if cards else (loaded, [])
            with picture_progress(quiet=quiet) as (progress, refused):
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
            documents[loaded.revision] = _print(built, left, json_=json_, quiet=quiet, verbose=verbose, cards=cards)
    if json_:
        print_revisions(documents)
    if not all(document["ok"] for document in documents.values()):
        raise typer.Exit(1)


def _print(
    built: Built, left: Sequence[Finding], *, json_: bool, quiet: bool, verbose: bool, cards: bool
) -> dict[str, Any]:
    """Print the findings of a build, and what it has written unless that is for a document. Return the document."""
    from ladderlight.proof.burnsheet import chip_label

    found = (*left, *built.findings)
    told = (one for one in found if verbose or one in left or one.level != "note")
    print_findings(stderr(), told, quiet=quiet)
    if json_:
        findings = list(map(asdict, found))
        return _document(built.output, built.manifest.document, findings, up_to_date=False, ok=built.complete)
    if quiet:
        return {"ok": built.complete}
    console = stdout()
    for picture in built.manifest.pictures if verbose or cards else ():
        console.print(_measures(picture), whole=[picture["source"]])
    for device in built.manifest.devices:
        console.print(f"{chip_label(device['name'], device.get('tray'))}: {device['part']}, {device['burn']['text']}")
        pieces = {piece["file"]: piece for piece in device["pieces"]}
        for name in device["files"]:
            sums = f"  CRC-32 {pieces[name]['crc32']}, sum {pieces[name]['sum16']}" if name in pieces else ""
            path = built.output / "devices" / name
            console.print(f"{path}{sums}", whole=[str(path)])
    for note in built.manifest.notes:
        console.print(f"note: {note}")
    console.print(built.output / "burn-sheet.txt", built.proof, _summary(built, cards=cards))
    return {"ok": built.complete}


def _summary(built: Built, *, cards: bool) -> str:
    """Return what was built, in words: ``revision a: 3 pictures in 2 chips of 2 trays``."""
    frames = [(picture.get("tray"), picture["source"]) for picture in built.manifest.pictures]
    shown = len(set(frames))
    pictures = counted(shown, "test card" if cards else "picture")
    if not shown:
        pictures = "words of no picture"
    elif len(frames) > shown:
        pictures += f" with {len(frames):,} frames"
    numbers = [device.get("tray") for device in built.manifest.devices]
    chips = counted(len(numbers), "chip")
    trays = f" of {counted(len(set(numbers)), 'tray')}" if numbers[0] else ""
    first = built.manifest.first
    revision = f"revision {first['revision']}: " if "revision" in first else ""
    left = "" if built.complete else "; trays with errors were left out"
    return f"{revision}{pictures} in {chips}{trays}{left}"


def _document(
    output: Path, manifest: ManifestDocument, findings: Sequence[object], *, up_to_date: bool, ok: bool = True
) -> dict[str, Any]:
    return {
        "ok": ok,
        "up_to_date": up_to_date,
        "output": str(output),
        "proof": str(output / "proof" / "index.html"),
        "device_files": [str(output / "devices" / name) for chip in manifest["devices"] for name in chip["files"]],
        "manifest": manifest,
        "findings": findings,
    }


def _print_unchanged(last: LastBuilt, *, json_: bool, quiet: bool, verbose: bool) -> dict[str, Any]:
    for picture in last.manifest["pictures"] if verbose else ():
        stdout(quiet=quiet or json_).print(_measures(picture), whole=[picture["source"]])
    print_up_to_date(last.output, quiet=quiet or json_)
    return _document(last.output, last.manifest, last.findings, up_to_date=True)


def _clear_cache(*, quiet: bool) -> None:
    from ladderlight.cache.store import Cache

    cache = Cache.of_user()
    if cache is None:
        raise BuildError("there is no cache of this user to empty; name a folder of yours", where=VARIABLE)
    with path_trouble(BuildError, cache.folder, "cannot be emptied", "check its permissions"):
        removed = cache.clear()
    stderr(quiet=quiet).print(f"{cache.folder}: {removed / 1e6:,.1f} MB removed", whole=[f"{cache.folder}:"])


def _measures(picture: PictureDocument) -> str:
    figures = [f"{name} {_measure(value)}" for name, value in picture.get("metrics", {}).items()]
    tray = f"tray {picture['tray']}, " if "tray" in picture else ""
    return ", ".join([f"{picture['source']}: {tray}bank {picture['bank']}", *figures])


def _measure(value: object) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{name} {_measure(part)}" for name, part in value.items())
    return f"{value:.4g}" if isinstance(value, int | float) else f"{value}"
