"""``ladderlight burned``."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from ladderlight.commands.terminal.options import FirstArgument, JsonOption, QuietOption, recipe_and_others


def burned(
    recipe: FirstArgument = None,
    devices: Annotated[
        list[str] | None, typer.Argument(help="The devices that were burned; all of them by default.", metavar="DEVICE")
    ] = None,
    *,
    json_: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Record that chips were burned with the last build.

    The record is burned.json beside the recipe. Later builds say which chips must be burned again, and how much of
    each.
    """
    from dataclasses import asdict

    from ladderlight.commands.reporting import print_document, print_findings, stderr, stdout
    from ladderlight.devices.burned import FILE, record
    from ladderlight.output import write_whole
    from ladderlight.readback.lastbuild import last_build, read_record, stale_findings
    from ladderlight.recipe import load

    of, names = recipe_and_others(recipe, devices)
    loaded = load(of, pictures="ignored")
    build = last_build(loaded.output, loaded.board)
    stale = stale_findings(loaded)
    noted = record(loaded.board, build.words, tuple(names), before=read_record(loaded.folder))
    path = loaded.folder / FILE
    write_whole(path, (json.dumps(noted, indent=2) + "\n").encode())
    print_findings(stderr(quiet=quiet), stale)
    done = [device for device in loaded.board.devices if not names or device.name in names]
    if json_:
        print_document(
            {
                "ok": True,
                "record": str(path),
                "devices": [{"name": device.name, "crc32": noted["devices"][device.name]["crc32"]} for device in done],
                "findings": list(map(asdict, stale)),
            }
        )
        return
    for device in done:
        stdout(quiet=quiet).print(f"{device.name}  CRC-32 {noted['devices'][device.name]['crc32']}  noted in {path}")
