"""Building the revisions of a recipe, and printing what was built; the library of commands is not needed for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ladderlight.commands.terminal.reporting import (
    print_document,
    print_findings,
    print_revisions,
    print_up_to_date,
    stderr,
    stdout,
)
from ladderlight.errors import Finding, LadderlightError, PictureError
from ladderlight.storage.output import IN_PLACE
from ladderlight.units.words import counted

if TYPE_CHECKING:
    from ladderlight.devices.documents import ManifestDocument, PictureDocument
    from ladderlight.recipe import Recipe
    from ladderlight.workspace.build import Built
    from ladderlight.workspace.up_to_date import LastBuilt


def build_revisions(
    path: Path,
    *,
    began: int,
    known: Recipe | None = None,
    workers: int | None = None,
    processes: bool = False,
    cluster: str | None = None,
    cards: bool = False,
    strict: bool = False,
    keep_going: bool = False,
    anyway: bool = False,
    cached: bool = True,
    revision: str | None = None,
    json_: bool = False,
    quiet: bool = False,
    verbose: bool = False,
) -> bool:
    """Build what has changed of a recipe, or ``anyway``; return whether all of it was built.

    The recipe is not read if it is ``known``, and whether anything has changed is then known, too.
    """
    from ladderlight.workspace.up_to_date import up_to_date

    def unchanged(of: str | None) -> LastBuilt | None:
        last = None if anyway or known else up_to_date(path, of)
        return None if last is not None and strict and last.cautioned else last

    if last := unchanged(revision):  # the recipe need not be read; of one with revisions, all must be known
        document = _print_unchanged(last, json_=json_, quiet=quiet, verbose=verbose)
        if json_:
            print_document(document)
        return True

    from ladderlight.commands.terminal.progress import picture_progress
    from ladderlight.engine.cards import fitting_cards
    from ladderlight.engine.executors import executor_of
    from ladderlight.workspace.build import build

    documents: dict[str | None, dict[str, Any]] = {}
    placed: list[str | None] = []
    if known:
        revisions: tuple[Recipe, ...] = (known,)
    else:
        from ladderlight.recipe import load_revisions

        revisions = load_revisions(path, pictures="cards" if cards else "needed", revision=revision)
    with executor_of(workers, processes=processes, cluster=cluster) as executor:
        for loaded in revisions:
            last = unchanged(loaded.revision) if loaded.revision is not None and revision is None else None
            if last is not None:
                documents[loaded.revision] = _print_unchanged(last, json_=json_, quiet=quiet, verbose=verbose)
                continue
            fitting, left = fitting_cards(loaded) if cards else (loaded, [])
            try:
                with _named(loaded.revision, placed), picture_progress(quiet=quiet) as (progress, refused):
                    built = build(
                        fitting,
                        executor=executor,
                        workers=workers,
                        progress=progress,
                        refused=refused,
                        strict=strict,
                        keep_going=keep_going,
                        cached=cached,
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
            documents[loaded.revision] = _print(built, left, json_=json_, quiet=quiet, verbose=verbose, cards=cards)
    if json_:
        print_revisions(documents)
    return all(document["ok"] for document in documents.values())


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


def _measures(picture: PictureDocument) -> str:
    figures = [f"{name} {_measure(value)}" for name, value in picture.get("metrics", {}).items()]
    tray = f"tray {picture['tray']}, " if "tray" in picture else ""
    return ", ".join([f"{picture['source']}: {tray}bank {picture['bank']}", *figures])


def _measure(value: object) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{name} {_measure(part)}" for name, part in value.items())
    return f"{value:.4g}" if isinstance(value, int | float) else f"{value}"
