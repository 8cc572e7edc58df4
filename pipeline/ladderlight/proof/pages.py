"""Pages beside the proof: the trays, and a board before anything is built."""

from collections.abc import Iterator, Mapping, Sequence
from operator import itemgetter
from typing import TypedDict

from markupsafe import Markup

from ladderlight.board import Board, Finding
from ladderlight.board.ladders.analysis import analyse
from ladderlight.devices.documents import ManifestDocument, PictureDocument
from ladderlight.proof.board_words import cautions, facts_of
from ladderlight.proof.plots import plots_of
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.screens import data_url
from ladderlight.proof.templating import environment, fill


class TrayRow(TypedDict):
    """What the page of all trays shows of one."""

    number: int
    folder: str
    burn: Sequence[str]
    screens: Sequence[Mapping[str, str]]


def tray_row(number: int, manifest: ManifestDocument) -> TrayRow:
    """Return what the page of all trays shows of one."""
    burn = [device["name"] for device in manifest["devices"] if device["changed"]]
    return {"number": number, "folder": f"tray-{number:02d}", "burn": burn, "screens": _screens(manifest["pictures"])}


def trays_page(
    project: str, board: Board, count: int, trays: Iterator[TrayRow], small: Mapping[str, bytes]
) -> Iterator[str]:
    """Yield, piece by piece, the page that leads to the proof of each tray, with the chips to burn and its screens.

    ``small`` has some screens in small, see :func:`ladderlight.proof.screens.small_png`; the others are named.
    """
    return (
        environment()
        .get_template("trays.html")
        .generate(
            project=project,
            count=count,
            trays=trays,
            pictures={screen: data_url(png) for screen, png in small.items()},
            aspect=board.raster.mode.screen_aspect,
            facts=facts_of(board),
        )
    )


def _screens(pictures: Sequence[PictureDocument]) -> list[Mapping[str, str]]:
    """Return the different screens of a tray, in the order of their banks, each with all that it shows."""
    files = dict.fromkeys(picture["screen"] for picture in sorted(pictures, key=itemgetter("bank")))
    found: list[Mapping[str, str]] = []
    for file in files:
        own = [picture for picture in pictures if picture["screen"] == file]
        found.append(
            {
                "file": file,
                "bank": str(min(picture["bank"] for picture in own)),
                "names": ", ".join(dict.fromkeys(picture["name"] for picture in own)),
            }
        )
    return found


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
