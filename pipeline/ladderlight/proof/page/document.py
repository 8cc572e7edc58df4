"""The proof page: its data, scripts and styles filled into the templates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from ladderlight.board import Board, Finding
from ladderlight.proof.cautions import cautions
from ladderlight.proof.figures import facts_of
from ladderlight.proof.page.data import page_data
from ladderlight.proof.page.palette import palette_section
from ladderlight.proof.plots import plots_of
from ladderlight.proof.scanout import Scanned
from ladderlight.proof.templating import environment
from ladderlight.units.words import counted

SCRIPTS = ("state", "unpack", "scan", "waits", "colour", "inspect", "screen", "marks", "pixel", "palette")
"""In the order in which they are joined: each may use those before it."""
_STYLES = ("viewer", "pixel", "palette")


def page(
    project: str,
    scanned: Scanned,
    manifest: Mapping[str, Any],
    findings: Sequence[Finding],
    *,
    stills: Sequence[Mapping[str, Any]] = (),
    tile_sets: Sequence[Mapping[str, Any]] = (),
    disturbed: Mapping[str, Any] | None = None,
    tray: int | None = None,
) -> str:
    """Return the proof page as one HTML document that loads nothing.

    Parameters
    ----------
    project, scanned, manifest, findings
        As :func:`ladderlight.proof.files.proof_files` takes them.
    stills
        Screens as pictures, for readers whose browsers run no scripts.
    tile_sets
        Each tile set's figures and its sheet.
    disturbed
        What is known of undefined data, and a part of the screen enlarged; None where nothing is undefined.
    tray
        Which tray this is, if any.
    """
    board, palette = scanned.board, palette_section(scanned)
    return (
        environment("ladderlight.proof.page")
        .get_template("page.html")
        .render(
            project=project if tray is None else f"{project}, tray {tray}",
            facts=facts_of(board),
            screens=[_screen(manifest, bank) for bank in scanned.banks],
            stills=stills,
            tile_sets=tile_sets,
            disturbed=disturbed,
            unknown=_unknown(board),
            notes=manifest["notes"],
            aspect=board.raster.mode.screen_aspect,
            plots=plots_of(board),
            palette=palette,
            devices=manifest["devices"],
            findings=findings,
            cautions=cautions(board),
            data=Markup(page_data(project, scanned, manifest, palette["fields"], tray=tray)),  # noqa: S704 - JSON without any "<"
            scripts=Markup(joined_scripts()),  # noqa: S704
            styles=Markup("\n".join(_text(f"styles/{name}.css") for name in _STYLES)),  # noqa: S704
        )
    )


def joined_scripts(names: Sequence[str] = SCRIPTS) -> str:
    """Return some of the page's scripts, in their order, as the text of one module."""
    return "\n".join(_text(f"scripts/{name}.js") for name in names)


def _text(path: str) -> str:
    return files(__package__).joinpath(path).read_text(encoding="utf-8").rstrip()


def _unknown(board: Board) -> list[str]:
    """Name the memories that drive the ladders directly and whose access time is not given."""
    return [memory.name for memory in board.driving_memories if memory.output == "direct" and memory.access is None]


def _screen(manifest: Mapping[str, Any], bank: int) -> dict[str, Any]:
    pictures = [picture for picture in manifest["pictures"] if picture["bank"] == bank]
    names = ", ".join(picture["name"] for picture in pictures)
    return {
        "bank": bank,
        "names": names,
        "sources": ", ".join(dict.fromkeys(picture["source"] for picture in pictures)),
        "measured": ", ".join(_measured(pictures[0].get("metrics", {}))) if len(pictures) == 1 else "",
        "alt": f"Screen of bank {bank}" + (f": {names}" if names else ""),
    }


def _measured(metrics: Mapping[str, Any]) -> list[str]:
    """Return what was measured of a picture, in words."""
    words = [
        f"{name.replace('_', ' ')} {metrics[name]['mean']:.1f} ({metrics[name]['in_words']})"
        for name in ("colour_error", "grain")
        if name in metrics
    ]
    if "colours_used" in metrics:
        words.append(counted(int(metrics["colours_used"]), "colour"))
    if metrics.get("clipped_share", 0.0) >= 0.001:
        words.append(f"{metrics['clipped_share'] * 100:.1f} % clipped")
    if metrics.get("merged_share", 0.0) >= 0.001:
        words.append(f"{metrics['merged_share'] * 100:.1f} % merged")
    return words
