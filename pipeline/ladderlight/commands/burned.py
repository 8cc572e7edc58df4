"""``ladderlight burned``."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import recipe_and_others
from ladderlight.commands.terminal.reporting import print_document, print_findings, stderr, stdout


def burned(
    recipe: options.FirstArgument = None,
    devices: Annotated[
        list[str] | None, typer.Argument(help="The devices that were burned; all of them by default.", metavar="DEVICE")
    ] = None,
    *,
    revision: options.OneRevisionOption = None,
    tray: options.TraysOption = None,
    json_: options.JsonOption = False,
    quiet: options.QuietOption = False,
) -> None:
    """Record that chips were burned with the last build.

    The record is burned.json beside the recipe. Later builds list the chips to burn again, and how much of each
    differs.
    """
    from ladderlight.proof.burnsheet import chip_label
    from ladderlight.recipe import load
    from ladderlight.workspace.burned import FILE
    from ladderlight.workspace.last_build import last_build, stale_findings
    from ladderlight.workspace.recorded import record_chips

    of, names = recipe_and_others(recipe, devices)
    loaded = load(of, pictures="ignored", revision=revision)
    build = last_build(loaded.output, loaded.board, loaded.owner)
    stale = stale_findings(loaded)
    chips, cautions = record_chips(loaded, build, names, tray or ())
    path, numbered = loaded.folder / FILE, build.numbers() != (None,)
    findings = [*stale, *cautions]
    print_findings(stderr(), findings, quiet=quiet)
    if json_:
        print_document(
            {
                "ok": True,
                "record": str(path),
                "devices": [
                    {"name": chip.device} | ({"tray": chip.tray} if numbered else {}) | {"crc32": chip.crc32}
                    for chip in chips
                ],
                "findings": list(map(asdict, findings)),
            }
        )
        return
    for chip in chips:
        shown = chip_label(chip.device, chip.tray if numbered else None)
        stdout(quiet=quiet).print(f"{shown}  CRC-32 {chip.crc32}  recorded in {path}", whole=[str(path)])
