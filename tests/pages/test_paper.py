"""The proof page of one example on paper, and the chips drawn in it."""

from __future__ import annotations

import re
import shutil
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image, ImageOps

from ladderlight.proof.page.document import joined_scripts
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
    for hidden in ("#strip", ".switches", "#player", "#pixel-section", "#boxes"):
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


def test_screens_that_are_not_drawn_yet_are_drawn_before_printing(page: Page, proof: Path, browser: Browser) -> None:
    drawn = "[...document.querySelectorAll('#contact canvas')].map((each) => each.toDataURL())"
    page.locator("#contact canvas.drawn").nth(3).wait_for()
    later = page.evaluate(drawn)
    page.close()
    hurried = browser.new_page()
    hurried.add_init_script("window.requestIdleCallback = () => 0")
    hurried.goto(proof.as_uri())
    hurried.locator("#contact canvas").nth(3).wait_for()
    assert hurried.locator("#contact canvas.drawn").count() == 0
    hurried.pdf()
    assert hurried.evaluate(drawn) == later
    assert len(set(later)) == 4
    hurried.close()


def test_bytes_are_inflated_as_zlib_does(browser: Browser) -> None:
    page = browser.new_page()
    page.add_script_tag(content=joined_scripts(("unpack", "paper")))
    random = np.random.default_rng(5)
    samples = [
        b"",
        random.bytes(70000),
        bytes(random.integers(0, 4, 5000, dtype=np.uint8)),
        b"light on the mole, " * 4000,
        bytes(300) + random.bytes(50) + bytes(40000),
    ]
    for data in samples:
        for level, strategy in ((9, zlib.Z_DEFAULT_STRATEGY), (0, zlib.Z_DEFAULT_STRATEGY), (6, zlib.Z_FIXED)):
            packer = zlib.compressobj(level, zlib.DEFLATED, -15, 9, strategy)
            packed = packer.compress(data) + packer.flush()
            inflated = page.evaluate("(bytes) => Array.from(inflatedNow(Uint8Array.from(bytes)))", list(packed))
            assert bytes(inflated) == data, (len(data), level, strategy)
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
