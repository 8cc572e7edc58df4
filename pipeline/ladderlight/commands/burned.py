"""``ladderlight burned``."""

from __future__ import annotations

import json
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
    """Note that chips now hold what the last build gave, in burned.json beside the recipe.

    Later builds say which chips must be burned again, and how much of each.
    """
    from dataclasses import asdict

    from ladderlight.commands.reporting import print_document, print_findings, stderr, stdout
    from ladderlight.devices.burned import FILE, record
    from ladderlight.readback.lastbuild import last_build, read_record, stale_findings
    from ladderlight.recipe import load
    from ladderlight.workspace.writing import write_whole

    loaded = load(recipe, pictures="ignored")
    build = last_build(loaded.output, loaded.board)
    stale = stale_findings(loaded)
    names = tuple(devices or ())
    noted = record(loaded.board, build.words, names, before=read_record(loaded.folder))
    path = loaded.folder / FILE
    write_whole(path, (json.dumps(noted, indent=2) + "\n").encode())
    print_findings(stderr(), stale)
    done = [device for device in loaded.board.devices if not names or device.name in names]
    if json_:
        print_document(
            {
                "record": str(path),
                "devices": [{"name": device.name, "crc32": noted["devices"][device.name]["crc32"]} for device in done],
                "findings": list(map(asdict, stale)),
            }
        )
        return
    for device in done:
        stdout().print(f"{device.name}  CRC-32 {noted['devices'][device.name]['crc32']}  noted in {path}", markup=False)
