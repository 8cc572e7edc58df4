"""Pages beside the proof: the trays, the burn sheet, and a board before anything is built."""

from collections.abc import Callable, Iterable, Sequence
from operator import itemgetter
from typing import Any

from markupsafe import Markup

from ladderlight.board import Board, Finding
from ladderlight.board.ladders.analysis import analyse
from ladderlight.devices.documents import ManifestDocument, PictureDocument
from ladderlight.proof.board_words import cautions, facts_of
from ladderlight.proof.burnsheet import chips_text, labelled, title_of, to_burn
from ladderlight.proof.plots import plots_of
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.screens import data_url
from ladderlight.proof.templating import fill

SCREEN_BYTES = 500_000
"""Of the screens on the page of all trays."""


def trays_page(project: str, board: Board, sections: Iterable[str]) -> str:
    """Return the page that leads to the proof of each tray, by what :func:`tray_section` gives for all of them."""
    found = list(sections)
    return fill("trays.html", project=project, sections=_joined(found), count=len(found), facts=facts_of(board))


def tray_section(board: Board, manifest: ManifestDocument, small: Callable[[str], bytes], left: int) -> tuple[str, int]:
    """Return what the page of all trays has of a tray: chips to burn, and the screens in small.

    ``small`` gives a screen's file in the output folder in small, see :func:`ladderlight.proof.screens.small_png`. As
    many as the page can bear are in it, the others by name: ``left`` is how many bytes that is before this tray, up to
    ``SCREEN_BYTES``, and the second that is returned how many after it, or 0.
    """
    devices, screens = list(manifest["devices"]), _screens(list(manifest["pictures"]))
    for screen in screens:
        png = small(f"proof/{screen['file']}") if left > 0 else b""
        left -= len(png)
        screen["picture"] = data_url(png) if png else ""
    number = devices[0]["tray"]
    burn = [device["name"] for device in devices if device["changed"]]
    shown: dict[str, Any] = {"number": number, "folder": f"tray-{number:02d}", "burn": burn, "screens": screens}
    return fill("trays-section.html", aspect=board.raster.mode.screen_aspect, **shown), max(0, left)


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


def burn_page(board: Board, manifest: ManifestDocument, chips: Iterable[str], labels: Iterable[str]) -> str:
    """Return the burn sheet as one HTML document to print: a box to tick for every file.

    ``chips`` and ``labels`` are what :func:`burn_parts` gives for the manifest, or of each of its trays.
    """
    return fill(
        "burn-sheet.html",
        project=title_of(manifest),
        lead=to_burn(manifest),
        chips=_joined(chips),
        labels=_joined(labels),
        notes=manifest["notes"],
        cautions=cautions(board),
    )


def burn_parts(board: Board, manifest: ManifestDocument) -> dict[str, str]:
    """Return what a burn sheet has of a manifest's chips: ``text``, and ``chips`` and ``labels`` as HTML."""
    parts = {device.name: device.part for device in board.devices}
    shown: dict[str, Any] = {"project": title_of(manifest), "devices": labelled(manifest), "parts": parts, "level": 2}
    html = {name: fill(f"burn-{name}.html", **shown) for name in ("chips", "labels")}
    return {"text": chips_text(board, manifest), **html}


def _joined(parts: Iterable[str]) -> Markup:
    return Markup("\n").join(Markup(part.rstrip()) for part in parts if part)  # noqa: S704 - of our own templates


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
