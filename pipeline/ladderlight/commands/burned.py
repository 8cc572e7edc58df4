"""``ladderlight burned``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def burned(
    recipe: Annotated[Path, typer.Argument(help="The recipe whose chips were burned.", metavar="RECIPE")],
    devices: Annotated[
        list[str] | None, typer.Argument(help="The devices that were burned; all of them by default.", metavar="DEVICE")
    ] = None,
    *,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout.")] = False,
) -> None:
    """Record that chips now hold what the last build gave, in burned.json beside the recipe.

    Later builds say which chips must be burned again, and how much of each.
    """
    from dataclasses import asdict

    from ladderlight.commands.reporting import print_document, print_findings, stderr, stdout
    from ladderlight.devices.burned import FILE
    from ladderlight.readback.lastbuild import last_build, stale_findings
    from ladderlight.readback.recorded import record_chips
    from ladderlight.recipe import load

    loaded = load(recipe, pictures="ignored")
    build = last_build(loaded.output, loaded.board)
    stale = stale_findings(loaded)
    chips, cautions = record_chips(loaded, build, devices or ())
    path = loaded.folder / FILE
    findings = [*stale, *cautions]
    print_findings(stderr(), findings)
    if json_:
        print_document(
            {
                "record": str(path),
                "devices": [{"name": chip.device, "crc32": chip.crc32} for chip in chips],
                "findings": list(map(asdict, findings)),
            }
        )
        return
    for chip in chips:
        stdout().print(f"{chip.device}  CRC-32 {chip.crc32}  recorded in {path}", markup=False)
