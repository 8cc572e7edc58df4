"""``ladderlight build``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def build(
    recipe: Annotated[Path, typer.Argument(help="The recipe to build.", metavar="RECIPE")],
    *,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Threads for the pictures; the result is the same for any number.")
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Take cautions for errors: do not build then.")] = False,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout.")] = False,
) -> None:
    """Build a recipe: device files, manifest, proof page and burn sheet."""
    from dataclasses import asdict

    from ladderlight.building import build as build_recipe
    from ladderlight.commands.reporting import picture_progress, print_document, print_findings, stderr, stdout
    from ladderlight.recipe import load

    loaded = load(recipe)
    with picture_progress() as progress:
        built = build_recipe(loaded, workers=workers, progress=progress, strict=strict)
    print_findings(stderr(), (finding for finding in built.findings if finding.level != "note"))
    if json_:
        print_document(
            {
                "ok": True,
                "output": str(built.output),
                "proof": str(built.proof),
                "device_files": [str(path) for path in built.device_files],
                "manifest": built.manifest,
                "findings": list(map(asdict, built.findings)),
            }
        )
        return
    console = stdout()
    for device in built.manifest["devices"]:
        console.print(f"{device['name']}: {device['part']}, {device['burn']['text']}", markup=False)
        pieces = {piece["file"]: piece for piece in device["pieces"]}
        for name in device["files"]:
            sums = f"  CRC-32 {pieces[name]['crc32']}, sum {pieces[name]['sum16']}" if name in pieces else ""
            console.print(f"{built.output / 'devices' / name}{sums}", markup=False)
    for note in built.manifest["notes"]:
        console.print(f"note: {note}", markup=False)
    console.print(f"{built.output / 'burn-sheet.txt'}", markup=False)
    console.print(f"{built.proof}", markup=False)
