"""The looks of a board's faults as a document and as a page."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from itertools import groupby
from typing import Any

from ladderlight.bench.faults.listing import WiringFault
from ladderlight.bench.faults.screens import Look
from ladderlight.board import Board
from ladderlight.board.model.palette import srgb8_of
from ladderlight.proof.board_words import cautions
from ladderlight.proof.screens import data_url, to_png
from ladderlight.proof.templating import fill
from ladderlight.units.arrays import Floats, Singles


def document_of(looks: Sequence[Look]) -> list[dict[str, Any]]:
    """Return all faults as plain values.

    Those of one ``look`` cannot be told apart; look 0 is that without a fault. One that is not ``steady`` leaves no
    steady picture.
    """
    return [
        {
            "fault": fault.text,
            "group": fault.group,
            "chips": list(map(asdict, fault.chips)),
            "look": number,
            "steady": look.steady,
        }
        for number, look in enumerate(looks)
        for fault in look.faults
    ]


def faults_page(project: str, board: Board, shown: str, looks: Sequence[Look]) -> str:
    """Return the page of all looks as one HTML document; ``shown`` is what the screen shows, in words."""
    sound, *others = (look for look in looks if look.steady)
    grouped = groupby(others, key=lambda look: look.faults[0].group)
    unsteady = [fault for look in looks if not look.steady for fault in look.faults]
    return fill(
        "faults.html",
        project=project,
        shown=shown,
        count=sum(len(look.faults) for look in looks),
        looks=len(others),
        aspect=board.raster.mode.screen_aspect,
        sound=_shown(board, sound),
        groups=[
            {"name": name.capitalize(), "looks": [_shown(board, look) for look in found]} for name, found in grouped
        ],
        unsteady=list(_named(board, unsteady)),
        cautions=cautions(board),
    )


def summary(looks: Sequence[Look]) -> str:
    """Return how many faults have how many looks, in one line."""
    count = sum(len(look.faults) for look in looks)
    unsteady = sum(len(look.faults) for look in looks if not look.steady)
    steady = sum(look.steady for look in looks)
    line = f"{count:,} faults with {steady - 1:,} different looks; {len(looks[0].faults)} cannot be seen"
    return line + (f", {unsteady} leave no steady picture" if unsteady else "")


def name_of(board: Board, fault: WiringFault) -> str:
    """Return a fault in words, with the chip where a board has several and the fault is of one."""
    chips = {pin.chip for pin in fault.chips}
    return f"{fault.text}, chip {chips.pop()}" if len(board.devices) > 1 and len(chips) == 1 else fault.text


def picture_url(light: Singles | Floats) -> str:
    """Return a small picture, linear light, as the address of an image that holds it."""
    return data_url(to_png(srgb8_of(light.clip(0, 1))))


def _shown(board: Board, look: Look) -> Mapping[str, Any]:
    return {"picture": picture_url(look.light), "faults": list(_named(board, look.faults))}


def _named(board: Board, faults: Iterable[WiringFault]) -> Iterable[dict[str, str]]:
    return ({"name": name_of(board, f), "pins": "; ".join(dict.fromkeys(map(str, f.chips)))} for f in faults)
