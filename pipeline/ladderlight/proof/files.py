"""The files of the proof."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Finding
from ladderlight.board.scanning.timing import MUCH_UNDEFINED
from ladderlight.flow.pictures import SourceView, TileSet
from ladderlight.proof.disturbance import disturbance, marks_png
from ladderlight.proof.page import page
from ladderlight.proof.scanout import Scanned
from ladderlight.proof.screens import screen_png, to_png
from ladderlight.proof.tilesheet import PER_ROW, tile_sheet
from ladderlight.units.words import percent


def proof_files(
    project: str,
    scanned: Scanned,
    manifest: Mapping[str, Any],
    findings: Sequence[Finding],
    *,
    views: Mapping[str, SourceView] | None = None,  # noqa: ARG001
    tray: int | None = None,
) -> Iterator[tuple[str, bytes]]:
    """Yield the files of the proof by their paths below ``proof/``: the screens, tile sets, then ``index.html``.

    Parameters
    ----------
    project
        The project's name.
    scanned
        What the device files show.
    manifest
        The build's manifest.
    findings
        What ``check`` has to say.
    views
        The pictures before the reduction, by name; cards have none.
    tray
        Which tray this is, if any: its page lies one folder deeper.
    """
    board, banks = scanned.board, scanned.banks
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        screens = pool.map(lambda bank: screen_png(board, scanned.screen(bank)), banks)
        yield from zip((f"screens/bank{bank}.png" for bank in banks), screens, strict=True)
    sheets = [
        _described(tiles, places, number)
        for number, (tiles, places) in enumerate(zip(scanned.tile_sets, scanned.places, strict=True))
    ]
    for sheet, tiles in zip(sheets, scanned.tile_sets, strict=True):
        yield sheet["path"], to_png(tile_sheet(board, tiles))
    disturbed = disturbance(board, scanned.words, banks[0])
    waiting = None
    if disturbed:
        yield "screens/waiting.png", to_png(disturbed.pixels)
        much = disturbed.share >= MUCH_UNDEFINED
        waiting = {
            "bank": banks[0],
            "share": percent(disturbed.share).replace(" ", "\N{NO-BREAK SPACE}"),
            "marked": much,
        }
        if much:
            frames = disturbed.frames
            with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
                marks = pool.map(lambda bank: marks_png(frames.disturbed(bank)), banks)
                yield from zip((f"screens/undefined{bank}.png" for bank in banks), marks, strict=True)
    yield "index.html", page(project, board, manifest, findings, banks, sheets, waiting, tray=tray).encode()


def _described(tiles: TileSet, places: NDArray[np.int64], number: int) -> dict[str, Any]:
    count, height, width = tiles.codes.shape
    return {
        "path": f"screens/tiles{number}.png",
        "memory": tiles.memory,
        "tiles": count,
        "width": width,
        "height": height,
        "first": int(tiles.numbers.min()) if count else 0,
        "last": int(tiles.numbers.max()) if count else 0,
        "uses": int(places.sum()),
        "once": int((places == 1).sum()),
        "per_row": PER_ROW,
    }
