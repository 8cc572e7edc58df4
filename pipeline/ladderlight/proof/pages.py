"""Pages beside the proof: the trays, the burn sheet, and a board before anything is built."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from itertools import groupby
from operator import itemgetter

from markupsafe import Markup

from ladderlight.board import Board, Finding
from ladderlight.board.ladders.analysis import analyse
from ladderlight.devices.documents import ManifestDocument, PictureDocument
from ladderlight.proof.board_words import cautions, facts_of
from ladderlight.proof.burnsheet import labelled, title_of
from ladderlight.proof.plots import plots_of
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.screens import data_url
from ladderlight.proof.templating import fill

_SCREEN_BYTES = 500_000  # of the screens on the page of all trays


def trays_page(project: str, board: Board, manifest: ManifestDocument, small: Callable[[str], bytes]) -> str:
    """Return the page that leads to the proof of each tray, with the chips to burn and the screens in small.

    ``small`` gives a screen's file in the output folder in small, see :func:`ladderlight.proof.screens.small_png`. As
    many as the page can bear are in it, the others by name.
    """
    trays = []
    left = _SCREEN_BYTES
    shown = {number: _screens(list(own)) for number, own in groupby(manifest["pictures"], itemgetter("tray"))}
    burn: dict[int, list[str]] = defaultdict(list)
    for device in manifest["devices"]:
        burn[device["tray"]] += [device["name"]] * device["changed"]
    for number, names in burn.items():
        screens = shown.get(number, [])
        for screen in screens:
            png = small(f"proof/{screen['file']}") if left > 0 else b""
            left -= len(png)
            screen["picture"] = data_url(png) if png else ""
        trays.append({"number": number, "folder": f"tray-{number:02d}", "burn": names, "screens": screens})
    aspect = board.raster.mode.screen_aspect
    return fill("trays.html", project=project, trays=trays, aspect=aspect, facts=facts_of(board))


def _screens(pictures: Sequence[PictureDocument]) -> list[dict[str, str]]:
    """Return the different screens of a tray, in the order of their banks, each with all that it shows."""
    files = dict.fromkeys(picture["screen"] for picture in sorted(pictures, key=itemgetter("bank")))
    found = []
    for file in files:
        own = [picture for picture in pictures if picture["screen"] == file]
        found.append(
            {
                "file": file.removeprefix("proof/"),
                "bank": str(min(picture["bank"] for picture in own)),
                "names": ", ".join(dict.fromkeys(picture["name"] for picture in own)),
            }
        )
    return found


def burn_page(board: Board, manifest: ManifestDocument) -> str:
    """Return the burn sheet as one HTML document to print: a box to tick for every file."""
    return fill(
        "burn-sheet.html",
        project=title_of(manifest),
        devices=labelled(manifest),
        parts={device.name: device.part for device in board.devices},
        notes=manifest["notes"],
        cautions=cautions(board),
    )


def board_page(project: str, board: Board, findings: Sequence[Finding]) -> str:
    """Return what follows from a board's declaration as one HTML document with plots, before anything is built."""
    return fill(
        "board.html",
        project=project,
        facts=facts_of(board),
        findings=findings,
        plots=plots_of(board),
        palette=Markup(palette_plot(board.palette)),  # noqa: S704
        analysis=analyse(board.ladder),
        cautions=cautions(board),
    )
