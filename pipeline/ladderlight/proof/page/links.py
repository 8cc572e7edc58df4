"""Links from one proof page to the others of a project."""

import os
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from urllib.parse import quote

from ladderlight.proof.page.document import Link
from ladderlight.recipe import Recipe
from ladderlight.recipe.cards import CARDS_SUFFIX

PAGE = Path("proof") / "index.html"


def links_of(
    recipe: Recipe, number: int | None, trays: Sequence[int | None], together: Collection[str] = ()
) -> dict[str, list[Link]]:
    """Return the links of a page by what they choose among: those to pages that are there or are being built.

    Parameters
    ----------
    recipe
        The recipe, or the one of its test cards.
    number, trays
        The page's tray, and all trays of this build.
    together
        The revisions that the same command builds.
    """
    here = recipe.output / "proof" / ("" if number is None else f"tray-{number:02d}")
    found = {}
    if len(trays) > 1:
        all_trays = [_link("all", here.parent / "index.html", here)]
        folders = ((each, here.parent / f"tray-{each:02d}") for each in trays if each is not None)
        found["Tray"] = all_trays + [
            _link(str(each), folder / "index.html", here, here=each == number) for each, folder in folders
        ]
    revisions = list(_revisions(recipe, here, together))
    if len(revisions) > 1:
        found["Revision"] = revisions
    cards = list(_cards(recipe, here))
    if len(cards) > 1:
        found["Chips of"] = cards
    return found


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
