"""Links from a proof page to others: only those that are there or are being built."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from ladderlight.proof.page.document import links_of
from ladderlight.recipe import Recipe, load_revisions

QUAY = Path(__file__).parents[4] / "recipes" / "quay-shelter"


@pytest.fixture
def revisions(tmp_path: Path) -> dict[str | None, Recipe]:
    """The two revisions of an example that nothing has been built of."""
    folder = tmp_path / "quay"
    shutil.copytree(QUAY, folder, ignore=shutil.ignore_patterns("out*", "__pycache__"))
    return {recipe.revision: recipe for recipe in load_revisions(folder / "recipe.toml")}


def shown(links: dict) -> dict[str, list[tuple[str, str, bool]]]:
    return {kind: [(link["name"], link["path"], link["here"]) for link in found] for kind, found in links.items()}


def page(folder: Path) -> None:
    (folder / "proof").mkdir(parents=True)
    (folder / "proof" / "index.html").write_text("")


def test_trays_of_this_build_and_revisions_of_this_command(revisions) -> None:
    assert shown(links_of(revisions["a"], 2, [1, 2], together=["a", "b"])) == {
        "Tray": [("all", "../index.html", False), ("1", "../tray-01/index.html", False), ("2", "index.html", True)],
        "Revision": [("a", "../index.html", True), ("b", "../../../b/proof/index.html", False)],
    }


def test_nothing_that_is_not_there(revisions) -> None:
    assert links_of(revisions["a"], None, [None]) == {}
    page(revisions["b"].output)
    assert list(links_of(revisions["a"], None, [None])) == ["Revision"]


def test_the_test_cards_and_back(revisions) -> None:
    recipe = revisions["a"]
    top = recipe.output.parent
    page(recipe.output)
    page(top.with_name("out-cards") / "a")
    assert shown(links_of(recipe, None, [None]))["Chips of"] == [
        ("the pictures", "index.html", True),
        ("the test cards", "../../../out-cards/a/proof/index.html", False),
    ]
