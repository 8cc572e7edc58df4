"""Pages beside the proof: the trays, and a board before anything is built."""

from collections.abc import Mapping, Sequence
from operator import itemgetter
from pathlib import Path

from markupsafe import Markup

from ladderlight.board import Board, Finding
from ladderlight.board.ladders.analysis import analyse
from ladderlight.devices.documents import ManifestDocument, PictureDocument
from ladderlight.proof.board_words import cautions, facts_of
from ladderlight.proof.plots import plots_of
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.screens import Shown, data_url
from ladderlight.proof.templating import fill
from ladderlight.storage.stopping import side_by_side

SCREEN_BYTES = 500_000
"""Of the screens on the page of all trays."""


def trays_page(project: str, board: Board, sections: Sequence[str]) -> str:
    """Return the page that leads to the proof of each tray, by what :func:`tray_section` gives for all of them."""
    joined = Markup("").join(map(Markup, sections))
    return fill("trays.html", project=project, sections=joined, count=len(sections), facts=facts_of(board))


def tray_section(board: Board, manifest: ManifestDocument, folders: Sequence[Path], left: int) -> tuple[str, int]:
    """Return what the page of all trays has of a tray: chips to burn, and the screens in small.

    A screen's file is in the first of ``folders`` that has it. As many as the page can bear are in it, the others by
    name: ``left`` is how many bytes that is before this tray, up to ``SCREEN_BYTES``, and the second that is returned
    how many after it.
    """

    def small(file: str) -> bytes:
        places = [folder / file for folder in folders]
        shown = Shown.of(next(filter(Path.exists, places), places[-1]).read_bytes())
        return shown.small if shown else b""

    screens, pictures = _screens(manifest["pictures"]), dict[str, Markup]()
    files = [screen["file"] for screen in screens if left > 0]
    for file, png in zip(files, side_by_side(small, files), strict=True):
        if left > 0:
            pictures[file] = data_url(png)
            left = max(0, left - len(png))
    devices = manifest["devices"]
    section = fill(
        "trays-section.html",
        number=devices[0]["tray"],
        folder=f"tray-{devices[0]['tray']:02d}",
        burn=[device["name"] for device in devices if device["changed"]],
        screens=screens,
        pictures=pictures,
        aspect=board.raster.mode.screen_aspect,
    )
    return section, left


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
