"""The differences of two revisions as plain text, and as a page."""

import base64
from collections.abc import Iterator
from typing import Any

from markupsafe import Markup

from ladderlight.engine.trays import place_in
from ladderlight.proof.templating import fill
from ladderlight.revisions.differences import Differences, Side

_MOST_COLOURS = 16


def differences_text(found: Differences) -> Iterator[str]:
    """Yield the lines of a report: a heading for each kind, the first revision's value before the second's."""
    yield f"revision {found.first.name} -> revision {found.second.name}"
    sections: dict[str, list[tuple[str, Any, Any]]] = {
        "parts to buy": [(f"{what}, {value}", *_counts(pair)) for (what, value), pair in found.parts.items()],
        "wiring": [(f"{device} {pin}", *pair) for (device, pin), pair in found.wiring.items()],
        "board": [(name, *pair) for name, pair in found.figures.items()],
        "timing": [
            (f"{memory} {name.removesuffix('_ns')}", _nanoseconds(pair[0]), _nanoseconds(pair[1]))
            for (memory, name), pair in found.timing.items()
        ],
        "colours": [(f"code {code}", *pair) for code, pair in list(found.colours.items())[:_MOST_COLOURS]],
    }
    for heading, rows in sections.items():
        yield f"{heading}: the same" if not rows else f"{heading}:"
        width = max((len(label) for label, *_ in rows), default=0)
        for label, before, after in rows:
            yield f"  {label:{width}}  {_shown(before)} -> {_shown(after)}"
    if len(found.colours) > _MOST_COLOURS:
        yield f"  and {len(found.colours) - _MOST_COLOURS:,} more; --json lists all"
    if found.chips:
        yield "chips:"
    for slot, text in found.chips.items():
        yield f"  {place_in(*slot)}: {text}"


def _counts(pair: tuple[Any, Any]) -> tuple[Any, Any]:
    return pair[0] or 0, pair[1] or 0


def _nanoseconds(value: float | None) -> str | None:
    return None if value is None else f"{value:.2f} ns"


def _shown(value: object) -> str:
    return "none" if value is None else f"{value}"


def revisions_page(project: str, found: Differences) -> str:
    """Return one HTML document that loads nothing, with the screens of both proofs as far as they are there."""
    sides = found.first, found.second
    return fill(
        "revisions.html",
        package="ladderlight.revisions",
        project=project,
        names=[side.name for side in sides],
        found=found,
        chips=[(place_in(*slot), text) for slot, text in found.chips.items()],
        aspects=[side.recipe.board.raster.mode.screen_aspect for side in sides],
        pictures=[
            (name, [_screen(side, place) for side, place in zip(sides, pair, strict=True)])
            for name, pair in found.pictures.items()
        ],
    )


def _screen(side: Side, place: tuple[int | None, int] | None) -> dict[str, Any] | None:
    if place is None:
        return None
    tray, bank = place
    label = f"bank {bank}" if tray is None else f"tray {tray}, bank {bank}"
    try:
        data = base64.b64encode(side.screen(place).read_bytes()).decode("ascii")
    except OSError:
        return {"label": label, "source": None}
    return {"label": label, "source": Markup(f"data:image/png;base64,{data}")}  # noqa: S704 - Base64 of our own file
