"""What a build has written, printed; the library of commands is not needed for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ladderlight.commands.terminal.reporting import print_findings, print_up_to_date, stderr, stdout
from ladderlight.units.words import counted

if TYPE_CHECKING:
    from ladderlight.board import Finding
    from ladderlight.devices.documents import ManifestDocument, PictureDocument
    from ladderlight.workspace.build import Built
    from ladderlight.workspace.up_to_date import LastBuilt


def print_built(
    built: Built, left: Sequence[Finding], *, json_: bool, quiet: bool, verbose: bool, cards: bool
) -> dict[str, Any]:
    """Print the findings of a build, and what it has written unless that is for a document. Return the document."""
    from ladderlight.proof.burnsheet import chip_label

    found = (*left, *built.findings)
    told = (one for one in found if verbose or one in left or one.level != "note")
    print_findings(stderr(), told, quiet=quiet, revision=built.manifest.first.get("revision"))
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


def print_unchanged(last: LastBuilt, *, json_: bool, quiet: bool, verbose: bool) -> dict[str, Any]:
    """Print that the last build is what another one would give. Return the document."""
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
