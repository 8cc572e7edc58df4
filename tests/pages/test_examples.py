"""The pages of every example recipe in Chromium, as readers meet them."""

from __future__ import annotations

import re
import shutil
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from ladderlight.commands import main
from ladderlight.recipe import load_revisions
from ladderlight.workspace.build import build

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ROOT = Path(__file__).parents[2]
RECIPES = sorted([*ROOT.glob("recipes/*/recipe.toml"), *ROOT.glob("tests/recipes/*/recipe.toml")])
LOOKS = Path(__file__).with_name("looks.js").read_text(encoding="utf-8")
WIDTHS = (320, 900, 1440, 2560)
"""In CSS pixels; the least is that of WCAG 2.2, success criterion 1.4.10."""

LEAST_CONTRAST = 4.5
"""WCAG 2.2, success criterion 1.4.3, for words of any size."""

SHOWN_WITHOUT_SCRIPTS = (
    *("#palette-plot image, #palette-plot rect", "#palette-plot path", "#contact b"),
    *("#chips .chip-row > *", "#chips .chip-facts dd", ".plots svg text", ".changes p, .changes li"),
    *("#burn .devices td", "#bench .wired td", "#bench .readings td", "#all-findings .findings li, #all-findings p"),
)
"""Palette, screens by name, memory map and chips, plots, changes, and the tables of the folded sheets."""

LEAST_SIDE = 30
"""Pixels of the least picture of a screen, whichever side."""


@pytest.fixture(scope="module", params=RECIPES, ids=lambda path: path.parent.name)
def output(request: pytest.FixtureRequest, example: Callable[[Path], Path]) -> Path:
    """The output folder of an example, of its first revision."""
    return load_revisions(example(request.param) / "recipe.toml")[0].output


@pytest.fixture(scope="module")
def window(browser: Browser) -> Page:
    """One window for all pages: a new one takes twice as long as opening a page."""
    return browser.new_page()


@pytest.fixture(scope="module")
def plain_window(browser: Browser) -> Page:
    """A window without scripts."""
    return browser.new_page(java_script_enabled=False)


@contextmanager
def opened(page: Page, path: Path, width: int = 1280) -> Iterator[None]:
    """Open a page, and afterwards check that it said nothing on the console and fetched nothing but itself."""
    said: list[str] = []
    fetched: list[str] = []
    listeners: dict[Any, Callable[[Any], None]] = {
        "console": lambda message: said.append(message.text),
        "pageerror": lambda error: said.append(str(error)),
        "request": lambda request: fetched.append(request.url),
    }
    page.emulate_media(media="screen", color_scheme="light")
    page.set_viewport_size({"width": width, "height": 900})
    for event, listener in listeners.items():
        page.on(event, listener)
    page.goto(path.as_uri())
    yield
    for event, listener in listeners.items():
        page.remove_listener(event, listener)
    assert said == []
    assert {url for url in fetched if not url.startswith(("data:", "blob:"))} == {path.as_uri()}


def test_pages_fit_every_width_in_both_schemes_and_by_keyboard(output: Path, window: Page) -> None:
    """And all screens of the proof are on paper: a page is opened once for both."""
    for name in ("proof/index.html", "burn-sheet.html", "bench-sheet.html"):
        with opened(window, output / name):
            if name == "proof/index.html":
                check_paper(window)
            check_looks(window, name)


def test_so_do_the_pages_that_commands_write(tmp_path: Path, window: Page) -> None:
    lantern, quay = ("tests/recipes/lantern", "recipes/quay-shelter")
    for name in (lantern, quay):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("out", "__pycache__"))
    recipe, pages = str(tmp_path / lantern), [str(tmp_path / f"{name}.html") for name in "abcd"]
    assert main(["build", "--quiet", recipe]) == 0
    screen = str(tmp_path / lantern / "out" / "proof" / "screens" / "bank0.png")
    corners = "0,0,640,0,640,480,0,480"
    assert main(["check", "--quiet", recipe, "--page", pages[0]]) == 0
    assert main(["faults", "--quiet", recipe, "--page", pages[1]]) == 0
    assert main(["faults", "--quiet", recipe, "--photo", screen, "--corners", corners, "--page", pages[2]]) == 0
    assert main(["compare", "--quiet", str(tmp_path / quay), "--revisions", "a", "b", "--page", pages[3]]) == 0
    for page in pages:
        with opened(window, Path(page)):
            check_looks(window, page)


def test_a_long_name_of_a_picture_is_broken_into_lines(tmp_path: Path, window: Page) -> None:
    folder = tmp_path / "mast"
    shutil.copytree(ROOT / "recipes/signal-mast", folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    (folder / "pictures" / "flags.png").rename(folder / "pictures" / f"{'flags' * 30}.png")
    output = build(load_revisions(folder / "recipe.toml")[0], cached=False).output
    for name in ("proof/index.html", "burn-sheet.html", "bench-sheet.html"):
        with opened(window, output / name, width=320):
            window.evaluate(LOOKS)
            if name == "bench-sheet.html":
                check_folded_wiring(window)
            window.evaluate("() => { for (const each of document.querySelectorAll('details')) each.open = true; }")
            assert window.evaluate("looks.beyond()") == [], name


def check_folded_wiring(page: Page) -> None:
    """Check that the pins of a chip are folded on a narrow screen, and are there on paper."""
    tables = page.locator(".chips .wired table")
    shown = "(all) => all.map((each) => each.checkVisibility())"
    assert page.evaluate("document.documentElement.scrollHeight") < 12_000
    assert set(tables.evaluate_all(shown)) == {False}
    page.emulate_media(media="print")
    assert set(tables.evaluate_all(shown)) == {True}
    page.emulate_media(media="screen")


def check_looks(page: Page, name: str) -> None:
    """Check that a page can be read in both schemes, fits all widths, and can be operated by the keyboard."""
    grounds = set()
    page.evaluate(LOOKS)
    page.evaluate("() => { for (const each of document.querySelectorAll('details')) each.open = true; }")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        grounds.add(page.evaluate("getComputedStyle(document.body).backgroundColor"))
        assert page.evaluate("looks.faint", LEAST_CONTRAST) == [], (name, scheme)
    assert len(grounds) == 2
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.documentElement).colorScheme") == "light"
    assert page.evaluate("looks.faint", LEAST_CONTRAST) == [], (name, "print")
    page.emulate_media(media="screen")
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("looks.beyond()") == [], (name, width)
    check_keyboard(page)


def check_keyboard(page: Page) -> None:
    """Check that the Tab key comes to everything that can be operated."""
    assert page.evaluate("looks.unreachable()") == []
    assert page.evaluate("looks.nameless()") == []
    page.evaluate("""() => {
        window.reached = new Set();
        document.addEventListener("focusin", (event) => reached.add(event.target));
    }""")
    count = page.evaluate("looks.operable().length")
    for _ in range(count + 2):
        page.keyboard.press("Tab")
    missed = page.evaluate(
        "looks.operable().filter((each) => !reached.has(each)).map((each) => each.outerHTML.slice(0, 90))"
    )
    assert missed == []


def check_paper(page: Page) -> None:
    """Check that a proof is printed with all screens from a dark window."""
    page.emulate_media(color_scheme="dark")
    shown = images_of(page.pdf(print_background=True))
    assert len(shown) >= max(1, page.locator("#contact > li").count())
    assert [image for image in shown if len(set(image)) == 1] == []


def test_a_proof_has_all_screens_without_scripts(output: Path, plain_window: Page) -> None:
    path = output / "proof" / "index.html"
    tray = min((output / "proof").glob("tray-*/index.html"), default=path)
    for opens in dict.fromkeys((path, tray)):
        with opened(plain_window, opens):
            if opens == path:
                loaded = "(each) => each.complete && each.naturalWidth > 0 && each.checkVisibility()"
                plain_window.wait_for_load_state()
                assert plain_window.evaluate(f"[...document.images].some({loaded})")
            if opens == tray:
                check_without_scripts(plain_window)


def check_without_scripts(page: Page) -> None:
    """Check that what needs no script is shown, and what needs one is not."""
    for fold in ("burn", "bench", "all-findings"):
        page.locator(f"#{fold} > summary").click()
    for selector in SHOWN_WITHOUT_SCRIPTS:
        shown = page.locator(f"{selector} >> visible=true")
        assert shown.count(), selector
        assert shown.first.bounding_box()["height"] > 0, selector
    for selector in ("#desk", "#pixel-section", "#palette-side", ".scripted"):
        assert not page.locator(selector).first.is_visible(), selector


def images_of(document: bytes) -> list[bytes]:
    """The pictures in a PDF, their bytes inflated: no soft masks (ISO 32000-1, 11.6.5.3), and no slivers of shadows."""
    found = []
    masks = set(re.findall(rb"/SMask (\d+) 0 R", document))
    images = rb"(\d+) 0 obj\s*<<((?:(?!>>).)*/Subtype /Image.*?)>>\s*stream\n(.*?)endstream"
    for number, head, body in re.findall(images, document, re.DOTALL):
        sides = [int(side) for side in re.findall(rb"/(?:Width|Height) (\d+)", head)]
        if number not in masks and min(sides) >= LEAST_SIDE:
            assert b"/FlateDecode" in head or b"/DCTDecode" in head
            found.append(zlib.decompress(body) if b"/FlateDecode" in head else body)
    return found
