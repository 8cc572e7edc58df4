"""The differences of two revisions as a page, with the pictures of both builds side by side."""

import base64
from typing import Any

from markupsafe import Markup

from ladderlight.proof.templating import fill
from ladderlight.revisions.differences import Differences, Side, chip_place


def revisions_page(project: str, found: Differences) -> str:
    """Return the page as one HTML document that loads nothing.

    Screens are those of the builds' proofs; one that is not there is left out.
    """
    sides = found.first, found.second
    return fill(
        "revisions.html",
        package="ladderlight.revisions",
        project=project,
        names=[side.name for side in sides],
        found=found,
        chips=[(chip_place(slot), text) for slot, text in found.chips.items()],
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
