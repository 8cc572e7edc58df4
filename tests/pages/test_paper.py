"""The proof page of one example on paper, and the chips drawn in it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image, ImageOps

from ladderlight.recipe import load
from ladderlight.workspace.build import build

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ROOT = Path(__file__).parents[2]
A4 = (703, 1032)
"""An A4 page within margins of 12 mm, in pixels of 1/96 inch (CSS Values and Units 4, section 6.2)."""


@pytest.fixture(scope="module")
def proof(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the second of two builds, between which a chip was burned and a picture changed."""
    folder = tmp_path_factory.mktemp("paper") / "lobby"
    shutil.copytree(ROOT / "recipes" / "lobby", folder, ignore=shutil.ignore_patterns("out"))
    build(load(folder / "recipe.toml"))
    path = folder / "pictures" / "cafe.jpg"
    with Image.open(path) as picture:
        ImageOps.mirror(picture).save(path)
    return build(load(folder / "recipe.toml")).proof


@pytest.fixture
def page(proof: Path, browser: Browser) -> Page:
    made = browser.new_page(viewport={"width": A4[0], "height": A4[1]})
    made.goto(proof.as_uri())
    made.locator("#contact canvas").nth(3).wait_for(timeout=10000)
    return made


def test_the_chosen_bank_fills_the_width_and_five_screens_stand_in_a_row(page: Page) -> None:
    page.emulate_media(media="print")
    width = "(selector) => document.querySelector(selector).getBoundingClientRect().width"
    assert page.evaluate(width, "#screen") == pytest.approx(page.evaluate(width, "main"), abs=1)
    columns = page.evaluate(
        "getComputedStyle(document.getElementById('contact')).gridTemplateColumns.split(' ').length"
    )
    assert columns == 5
    for hidden in ("#strip", ".switches", "#player", "#pixel-section"):
        assert not page.locator(hidden).first.is_visible(), hidden
    page.close()


def test_palette_chips_readings_and_findings_are_on_paper_and_the_wiring_is_not(page: Page) -> None:
    page.emulate_media(media="print")
    height = page.evaluate("document.getElementById('palette').closest('section').getBoundingClientRect().height")
    assert 0 < height < A4[1]
    for shown in ("#chips", ".changes", "#bench-readings", "#findings-none, #all-findings .findings", "#burn .chip"):
        assert page.locator(shown).first.evaluate("(each) => each.checkVisibility() && each.offsetHeight > 0"), shown
    wiring = page.locator("#bench-wiring")
    assert wiring.evaluate("(each) => each.offsetHeight") == 0
    page.emulate_media(media="screen")
    page.locator("#bench > summary").click()
    page.emulate_media(media="print")
    assert wiring.evaluate("(each) => each.offsetHeight") > 0
    page.close()


def test_a_document_has_few_pages(page: Page) -> None:
    """Chromium writes each page of a PDF as one object (ISO 32000-1, 7.7.3.3)."""
    assert 3 <= len(re.findall(rb"/Type /Page\b(?!s)", page.pdf())) <= 8
    page.close()


def test_a_bank_in_a_chip_is_shown_by_pointer_and_keys(page: Page) -> None:
    boxes = page.locator(".chip-row > a")
    assert boxes.count() == 4
    boxes.nth(2).click()
    page.wait_for_url("**/index.html#bank=2")
    page.locator("#caption-title", has_text="lighthouse").wait_for()
    assert [boxes.nth(at).get_attribute("aria-current") for at in range(4)] == ["false", "false", "true", "false"]
    boxes.nth(2).focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.hash") == "#bank=3"
    page.keyboard.press("Home")
    page.wait_for_url("**/index.html")
    assert [boxes.nth(at).get_attribute("tabindex") for at in range(4)] == ["0", "-1", "-1", "-1"]
    page.close()


def test_boxes_and_marks_lie_to_scale(page: Page) -> None:
    """Bank 2 of the lobby begins at 10000h of 20000h words; bank 0 alone has changed."""
    row, box, mark = (
        page.locator(selector).first.bounding_box()
        for selector in (".chip-row", ".chip-row > a[href='#bank=2']", ".chip-row > .mark")
    )
    assert box["x"] - row["x"] == pytest.approx(row["width"] / 2, abs=1.5)
    assert box["width"] == pytest.approx(row["width"] * 0x77A0 / 0x20000, abs=1.5)
    assert mark["x"] - row["x"] < 2
    assert mark["width"] == pytest.approx(row["width"] * 0x77A0 / 0x20000, abs=2)
    page.close()


def test_before_and_after_are_the_screens_of_both_builds(page: Page) -> None:
    (pair,) = page.locator(".changes .pair").all()
    sizes = pair.locator("img").evaluate_all("(all) => all.map((each) => [each.naturalWidth, each.naturalHeight])")
    assert sizes == [[160, 120], [160, 120]]
    assert pair.locator("img").evaluate_all("([one, other]) => one.src !== other.src")
    page.close()
