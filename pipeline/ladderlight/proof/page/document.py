"""The proof page: its data, scripts and styles filled into the templates, with links to the others of a project."""

import os
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache
from importlib.resources import files
from itertools import groupby
from math import ceil
from pathlib import Path
from typing import Any, TypedDict
from urllib.parse import quote

import numpy as np
from markupsafe import Markup

from ladderlight.board import Finding
from ladderlight.colour.viewing import Viewing
from ladderlight.devices.documents import ManifestDocument
from ladderlight.flow.pictures import SourceView
from ladderlight.proof.board_words import cautions, facts_of
from ladderlight.proof.burnsheet import labelled
from ladderlight.proof.changes import Changes, DeviceChange, PictureChange
from ladderlight.proof.page.data import page_data
from ladderlight.proof.page.memory_map import chip_maps
from ladderlight.proof.plots import plots_of
from ladderlight.proof.plots.palettes import palette_fields, palette_plot
from ladderlight.proof.scanout import Scanned
from ladderlight.proof.templating import fill
from ladderlight.recipe import Recipe
from ladderlight.recipe.language.model import CARDS_SUFFIX
from ladderlight.units.words import counted, joined

SCRIPTS = (
    *("state", "unpack", "scan", "moments", "eye", "colour", "inspect"),
    *("screen", "desk", "controls", "strip", "paper", "play", "marks", "pixel", "palette", "map", "start"),
)
"""In the order in which they are joined: each may use those before it."""
_STYLES = ("viewer", "pixel", "palette", "map", "changes", "folded", "paper")
_LOOKS = {
    "board": "Board",
    "source": "Source",
    "side": "Side by side",
    "split": "Split",
    "flicker": "Flicker",
    "difference": "Difference",
}
_ALMOST = 0.005  # by how much the proportions of a pixel may differ from a square's and look alike
_FARTHEST = 6  # metres that the slider of the distance reaches at least
_DATA = "\N{SYMBOL FOR DATA LINK ESCAPE}"  # where the data go in once it is known how much room the rest leaves
_MOST_NAMED = 12
_STATES = {
    "changed": "Changed too",
    "new": "New",
    "renamed": "As before, under another name",
    "moved": "As before, in another bank",
    "gone": "No longer there",
    "unknown": "Not compared, as the screen of the build before cannot be read",
}
_MOST_LISTED = 512
_LISTED_BESIDE_MANY = 64
_MANY = 8  # screens from which on a page has no room for a long list
PAGE = Path("proof") / "index.html"


class Link(TypedDict):
    """Another proof page: its relative path, and whether it is the one that has the link."""

    name: str
    path: str
    here: bool


Links = Mapping[str, Sequence[Link]]
"""Other proof pages by their kind."""


def page(
    project: str,
    scanned: Scanned,
    manifest: ManifestDocument,
    changes: Changes,
    stale: Sequence[DeviceChange],
    findings: Sequence[Finding],
    *,
    views: Mapping[str, SourceView],
    viewing: Viewing,
    tray: int | None,
    **shown: object,
) -> str:
    """Return the proof page as one HTML document that loads nothing.

    ``changes`` are what the build changes, see :func:`ladderlight.proof.changes.changes_document`, and ``stale`` is how
    each device differs from what is recorded of its chip. ``shown`` is what the templates take as it is: ``stills``,
    screens for readers without scripts, ``tile_sets`` and ``disturbed``, figures and pictures of these; the rest is as
    :func:`ladderlight.proof.files.proof_files` takes it.
    """
    board, palette = scanned.board, palette_section(scanned)
    text = fill(
        "page.html",
        package="ladderlight.proof.page",
        **shown,
        project=project if tray is None else f"{project}, tray {tray}",
        facts=facts_of(board),
        screens=[_screen(manifest, scanned, content) for content in range(len(scanned.distinct))],
        unknown=[one.name for one in board.driving_memories if one.output == "direct" and one.access is None],
        notes=manifest["notes"],
        aspect=board.raster.mode.screen_aspect,
        plots=plots_of(board),
        palette=palette,
        chips=chip_maps(manifest, changes, stale),
        changes=changes,
        more_changes=list(other_changes(changes["pictures"])),
        devices=labelled(manifest),
        parts={device.name: device.part for device in board.devices},
        finding_counts=counted_findings(findings),
        findings=findings,
        cautions=cautions(board),
        looks=_LOOKS,
        has_views=bool(views),
        square=abs(board.geometry.pixel_aspect - 1) < _ALMOST,
        viewing=viewing,
        farthest=max(_FARTHEST, ceil(2 * (viewing.distance or 0))),
        data=_DATA,
        scripts=Markup(joined_scripts()),  # noqa: S704
        styles=Markup("\n".join(_text(f"styles/{name}.css") for name in _STYLES)),  # noqa: S704
    )
    text = "\n".join(line for line in map(str.strip, text.splitlines()) if line)
    fields, rest = palette["fields"], len(text.encode())
    data = page_data(project, scanned, manifest, fields=fields, views=views, viewing=viewing, tray=tray, rest=rest)
    return text.replace(_DATA, data, 1)


def joined_scripts(names: Sequence[str] = SCRIPTS) -> str:
    """Return some of the page's scripts, in their order, as the text of one module."""
    return "\n".join(_text(f"scripts/{name}.js") for name in names)


@cache
def _text(path: str) -> str:
    """Return a file of this package without indentation and whole lines of comment, which are a third of it."""
    lines = files(__package__).joinpath(path).read_text(encoding="utf-8").splitlines()
    stripped = (line.strip() for line in lines)
    return "\n".join(line for line in stripped if line and not line.startswith(("/*", "*", "//")))


def _screen(manifest: ManifestDocument, scanned: Scanned, content: int) -> dict[str, object]:
    """Return what is said of one of the different screens: its banks, and the pictures in them."""
    banks = [bank for bank, shown in scanned.contents.items() if shown == content]
    pictures = list({p["name"]: p for p in manifest["pictures"] if p["bank"] in banks}.values())
    measured: dict[str, list[str]] = {}
    for picture in pictures:
        if text := ", ".join(_measured(picture.get("metrics", {}))):
            measured.setdefault(text, []).append(picture["name"])
    return {
        "bank": banks[0],
        "banks": banks_in_words(banks),
        "names": ", ".join(picture["name"] for picture in pictures),
        "sources": ", ".join(dict.fromkeys(p["source"] for p in pictures if p["source"] != p["name"])),
        "measured": "; ".join(
            f"{', '.join(names)}: {text}" if measured.keys() - {text} else text for text, names in measured.items()
        ),
    }


def banks_in_words(banks: Sequence[int]) -> str:
    """Return ascending banks in words: ``bank 3``, ``banks 0 to 7, 12``."""
    runs = [[bank for _, bank in run] for _, run in groupby(enumerate(banks), lambda pair: pair[1] - pair[0])]
    words = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return f"bank{'s' * (len(banks) > 1)} {', '.join(words)}"


def _measured(metrics: Mapping[str, Any]) -> list[str]:
    words = [
        f"{name.replace('_', ' ')} {one['mean']:.1f}, 95\N{NO-BREAK SPACE}% up to {one['p95']:.1f} ({one['in_words']})"
        for name in ("colour_error", "grain")
        if (one := metrics.get(name))
    ]
    if "colours_used" in metrics:
        words.append(counted(int(metrics["colours_used"]), "colour"))
    shares = ((metrics.get(f"{what}_share", 0.0), what) for what in ("clipped", "merged"))
    return words + [f"{share * 100:.1f} % {what}" for share, what in shares if share >= 0.001]


def counted_findings(findings: Sequence[Finding]) -> str:
    """Return how many findings there are of each level: ``1 caution, 2 notes``."""
    counts = Counter(finding.level for finding in findings)
    return ", ".join(counted(counts[level], level) for level in ("error", "caution", "note") if counts[level]) or "none"


def other_changes(pictures: Sequence[PictureChange]) -> Iterator[tuple[str, str]]:
    """Yield each kind of change that no screens are shown of, and the names of its pictures."""
    for state, words in _STATES.items():
        names = [_named(picture) for picture in pictures if picture["state"] == state and "before" not in picture]
        more = len(names) - _MOST_NAMED
        if names:
            yield words, joined([*names[:_MOST_NAMED], *([f"{more} more"] if more > 0 else [])])


def _named(picture: PictureChange) -> str:
    if picture["state"] == "gone":
        return f"{picture['name']} (was in bank {picture['was']})"
    name = f"{picture['earlier']}, now {picture['name']}" if "earlier" in picture else picture["name"]
    moved = picture["state"] in ("moved", "renamed") and picture["was"] != picture["bank"]
    return f"{name} (bank {picture['was']} to {picture['bank']})" if moved else f"{name} (bank {picture['bank']})"


def palette_section(scanned: Scanned) -> dict[str, Any]:
    """Return the palette's ``plot`` with its ``fields``, and how many pixels of the different screens show each code.

    ``fields`` are rows of codes, -1 for none; ``swatches`` are empty for very many ``codes``, and for many
    beside many screens.
    """
    palette = scanned.board.palette
    uses = {
        bank: np.bincount(scanned.codes[bank].ravel(), minlength=len(palette)).astype(np.int64)
        for bank in scanned.distinct
    }
    pixels = np.stack(list(uses.values())).sum(axis=0)
    width = len(palette.lines)
    most = _MOST_LISTED if len(scanned.distinct) <= _MANY else _LISTED_BESIDE_MANY
    listed = range(len(palette) if len(palette) <= most else 0)
    return {
        "plot": Markup(palette_plot(palette, uses)),  # noqa: S704 - our own SVG, its words escaped there
        "fields": [field.codes.tolist() for field in palette_fields(palette, uses)],
        "codes": len(palette),
        "used": int(np.count_nonzero(pixels)),
        "lines": list(reversed(palette.lines)),
        "swatches": [
            {
                "code": f"{code:0{(width + 3) // 4}X}",
                "bits": f"{code:0{width}b}",
                "volts": [f"{volt:.3f}" for volt in palette.volts[code]],
                "srgb": palette.hex_of(code),
                "pixels": int(pixels[code]),
            }
            for code in listed
        ],
    }


def links_of(
    recipe: Recipe, number: int | None, trays: Sequence[int | None], together: Collection[str] = ()
) -> dict[str, list[Link]]:
    """Return the links of a page by what they choose among: those to pages that are there or are being built.

    The recipe may be the one of its test cards; ``number`` is the page's tray, ``trays`` are all of this build, and
    ``together`` the revisions that the same command builds.
    """
    here = recipe.output / "proof" / ("" if number is None else f"tray-{number:02d}")
    links = [Link(name="all", path="../index.html", here=False)]
    for each in (each for each in trays if len(trays) > 1 and each is not None):
        path = "index.html" if each == number else f"../tray-{each:02d}/index.html"
        links.append(Link(name=str(each), path=path, here=each == number))
    found = {
        "Tray": links,
        "Revision": list(_revisions(recipe, here, together)),
        "Chips of": list(_cards(recipe, here)),
    }
    return {kind: links for kind, links in found.items() if len(links) > 1}


def _revisions(recipe: Recipe, here: Path, together: Collection[str]) -> Iterator[Link]:
    for name in recipe.revisions:
        page = recipe.output.parent / name / PAGE
        if name == recipe.revision or name in together or page.is_file():
            yield _link(name, page, here, here=name == recipe.revision)


def _cards(recipe: Recipe, here: Path) -> Iterator[Link]:
    """Yield the pictures' page and that of the test cards, whose output folder has its name with an ending."""
    top = recipe.output if recipe.revision is None else recipe.output.parent
    plain = top.name.removesuffix(CARDS_SUFFIX)
    for what, name in (("the pictures", plain), ("the test cards", plain + CARDS_SUFFIX)):
        page = top.with_name(name) / (recipe.revision or "") / PAGE
        if name == top.name or page.is_file():
            yield _link(what, page, here, here=name == top.name)


def _link(name: str, page: Path, folder: Path, *, here: bool = False) -> Link:
    path = Path(os.path.relpath(page, folder)).as_posix()
    return {"name": name, "path": quote(path), "here": here}
