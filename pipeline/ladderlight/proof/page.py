"""The proof page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from ladderlight.board import Board, Finding
from ladderlight.board.ladders.analysis import analyse
from ladderlight.proof.burnsheet import chip_label, title_of
from ladderlight.proof.cautions import cautions
from ladderlight.proof.plots import palette_plot, plots_of
from ladderlight.system.printable import printable

_MOST_SWATCHES = 512


def page(
    project: str,
    board: Board,
    manifest: Mapping[str, Any],
    findings: Sequence[Finding],
    banks: Sequence[int],
    tile_sets: Sequence[Mapping[str, Any]] = (),
    disturbed: Mapping[str, Any] | None = None,
    tray: int | None = None,
) -> str:
    """Return the proof page as one HTML document that loads nothing but the screens beside it."""
    return (
        environment()
        .get_template("page.html")
        .render(
            project=project if tray is None else f"{project}, tray {tray}",
            top=".." if tray is None else "../..",
            facts=_facts(board),
            screens=[_screen(manifest, bank) for bank in banks],
            tile_sets=tile_sets,
            disturbed=disturbed,
            unknown=_unknown(board),
            notes=manifest["notes"],
            size=(board.raster.mode.horizontal.active, board.raster.mode.vertical.active),
            aspect=board.raster.mode.screen_aspect,
            plots=plots_of(board),
            swatches=_swatches(board),
            codes=len(board.palette),
            lines=list(reversed(board.palette.lines)),
            devices=manifest["devices"],
            findings=findings,
            cautions=cautions(board),
        )
    )


def trays_page(project: str, board: Board, manifest: Mapping[str, Any]) -> str:
    """Return the page that leads to the proof of each tray, with the chips to burn and the screens in small."""
    devices, pictures = (_by_tray(manifest[key]) for key in ("devices", "pictures"))
    trays = [
        {
            "number": number,
            "folder": f"tray-{number:02d}",
            "burn": [device["name"] for device in found if device["changed"]],
            "screens": [
                {"bank": bank, "names": ", ".join(p["name"] for p in pictures.get(number, ()) if p["bank"] == bank)}
                for bank in sorted({picture["bank"] for picture in pictures.get(number, ())})
            ],
        }
        for number, found in devices.items()
    ]
    return (
        environment()
        .get_template("trays.html")
        .render(project=project, trays=trays, aspect=board.raster.mode.screen_aspect, facts=_facts(board))
    )


def _by_tray(entries: Sequence[Mapping[str, Any]]) -> dict[int, list[Mapping[str, Any]]]:
    found: dict[int, list[Mapping[str, Any]]] = {}
    for entry in entries:
        found.setdefault(entry["tray"], []).append(entry)
    return found


def burn_page(board: Board, manifest: Mapping[str, Any]) -> str:
    """Return the burn sheet as one HTML document to print: a box to tick for every file."""
    return (
        environment()
        .get_template("burn-sheet.html")
        .render(
            project=title_of(manifest),
            devices=[{"label": chip_label(device), **device} for device in manifest["devices"]],
            parts={device.name: device.part for device in board.devices},
            notes=manifest["notes"],
            cautions=cautions(board),
        )
    )


def board_page(project: str, board: Board, findings: Sequence[Finding]) -> str:
    """Return what follows from a board's declaration as one HTML document with plots, before anything is built."""
    ladder, analysis = board.ladder, analyse(board.ladder)
    return (
        environment()
        .get_template("board.html")
        .render(
            project=project,
            facts=_facts(board),
            findings=findings,
            plots=plots_of(board),
            palette=Markup(palette_plot(board.palette)),  # noqa: S704
            tolerance=f"{ladder.tolerance * 100:g}" if ladder.tolerance else "",
            drivers=analysis.drivers,
            resistors=analysis.resistors,
            supply_current=analysis.supply_current,
            lines=list(reversed(board.palette.lines)),
            cautions=cautions(board),
        )
    )


def fill(template: str, **values: Any) -> str:
    """Return a template filled in: text is escaped, and made printable."""
    return environment().get_template(template).render(**values)


@cache
def environment(package: str = "ladderlight.proof") -> Environment:
    """Return the templates of a package, which may include those of the proof; values in them are made printable."""
    found = Environment(
        loader=ChoiceLoader([PackageLoader(package), PackageLoader("ladderlight.proof")]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["grouped"] = "{:,}".format
    return found


def _shown(value: object) -> object:
    """Make a value's text printable; markup is our own."""
    return value if isinstance(value, Markup) else printable(str(value))


def _facts(board: Board) -> list[tuple[str, str, str]]:
    """Return the main figures of a board: name, figure, detail."""
    raster, geometry, palette = board.raster, board.geometry, board.palette
    colours = len({palette.hex_of(code) for code in range(len(palette))})
    repeat = f"{_counted(geometry.repeat_x, 'count')} by {_counted(geometry.repeat_y, 'line')}"
    per_pixel = f"{float(raster.ratio):.6g} count{'s' * (raster.ratio != 1)} per monitor pixel"
    return [
        ("Picture", f"{geometry.width} × {geometry.height}", f"each pixel {repeat}"),
        ("Pixel aspect", f"{geometry.pixel_aspect:.3g}", "width over height on the screen"),
        ("Colours", f"{colours:,}", f"{len(palette):,} codes on {len(palette.lines)} lines"),
        ("Mode", raster.mode.name, f"{float(raster.line_rate) / 1e3:.3f} kHz, {float(raster.frame_rate):.2f} Hz"),
        ("Clock", f"{float(raster.clock) / 1e6:.6g} MHz", per_pixel),
        ("Banks", f"{board.bank_count}", f"blanking: {board.blanking}"),
    ]


def _unknown(board: Board) -> list[str]:
    """Name the memories that drive the ladders directly and whose access time is not given."""
    return [memory.name for memory in board.driving_memories if memory.output == "direct" and memory.access is None]


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}{'s' * (number != 1)}"


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
        words.append(_counted(int(metrics["colours_used"]), "colour"))
    if metrics.get("clipped_share", 0.0) >= 0.001:
        words.append(f"{metrics['clipped_share'] * 100:.1f} % clipped")
    if metrics.get("merged_share", 0.0) >= 0.001:
        words.append(f"{metrics['merged_share'] * 100:.1f} % merged")
    return words


def _swatches(board: Board) -> list[dict[str, Any]]:
    palette = board.palette
    if len(palette) > _MOST_SWATCHES:
        return []
    width = len(palette.lines)
    return [
        {
            "code": f"{code:0{(width + 3) // 4}X}",
            "bits": f"{code:0{width}b}",
            "volts": [f"{volt:.3f}" for volt in palette.volts[code]],
            "srgb": palette.hex_of(code),
        }
        for code in range(len(palette))
    ]
