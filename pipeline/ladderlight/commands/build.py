"""``ladderlight build``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from ladderlight.commands.terminal.options import JsonOption, QuietOption, RecipeArgument, WorkersOption, recipe_path


def build(
    recipe: RecipeArgument = None,
    *,
    workers: WorkersOption = None,
    strict: Annotated[bool, typer.Option("--strict", help="Take cautions for errors, and do not build.")] = False,
    json_: JsonOption = False,
    quiet: QuietOption = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", "-v", help="Print notes too, and every picture with its measures.")
    ] = False,
) -> None:
    """Build a recipe: device files, proof and burn sheet."""
    from dataclasses import asdict

    from ladderlight.commands.terminal.progress import picture_progress
    from ladderlight.commands.terminal.reporting import print_document, print_findings, stderr, stdout
    from ladderlight.recipe import load
    from ladderlight.workspace.build import build as build_recipe

    loaded = load(recipe_path(recipe))
    with picture_progress(quiet=quiet) as (progress, refused):
        built = build_recipe(loaded, workers=workers, progress=progress, refused=refused, strict=strict)
    told = (finding for finding in built.findings if verbose or finding.level != "note")
    print_findings(stderr(quiet=quiet), told)
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


def _measures(picture: Mapping[str, Any]) -> str:
    figures = [f"{name} {_measure(value)}" for name, value in picture.get("metrics", {}).items()]
    return ", ".join([f"{picture['source']}: bank {picture['bank']}", *figures])


def _measure(value: object) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{name} {_measure(part)}" for name, part in value.items())
    return f"{value:.4g}" if isinstance(value, int | float) else f"{value}"
