"""The palette of the proof page, what a colour marks on the screen, and how a pixel is chosen there."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from ladderlight import Contents
from ladderlight.board import Board
from ladderlight.proof.files import proof_files
from ladderlight.proof.page.document import palette_section
from ladderlight.proof.plots.palettes import palette_fields
from ladderlight.proof.scanout import Scanned, memories_of
from ladderlight.workspace.description import describe
from ladderlight_stages.emissions.binary import binary

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

READING = "document.getElementById('palette-reading').innerText"
SHOWN = """() => {
    const [screen, veil] = ["screen", "veil"].map((id) => document.getElementById(id));
    const both = new OffscreenCanvas(160, 120).getContext("2d");
    both.imageSmoothingEnabled = false;
    for (const canvas of veil.hidden ? [screen] : [screen, veil]) both.drawImage(canvas, 0, 0, 160, 120);
    const { data } = both.getImageData(0, 0, 160, 120);
    return Array.from({ length: 160 * 120 }, (_, at) => [...data.slice(4 * at, 4 * at + 3)]);
}"""
"""The colours of the screen by picture pixel, under the veil where there is one."""


@pytest.fixture
def scanned(board: Board, banked: Callable[..., Contents]) -> Scanned:
    """Two banks with pictures in which no code with bit 2 is used."""
    contents = banked(board, (0, 3))
    words = {name: memory.words & 0xFB for name, memory in contents.memories.items()}
    return Scanned(board=board, words=words, banks=[0, 3])


@pytest.fixture
def page(board: Board, banked: Callable[..., Contents], browser: Browser, tmp_path: Path) -> Iterator[Page]:
    """The proof page of two banks, and a check afterwards that no script failed."""
    contents = banked(board, (0, 3))
    files = binary(contents, board)
    found = Scanned(board=board, words=memories_of(board, files), banks=[0, 3])
    manifest = describe(project="p", board=board, contents=contents, files=files, images=found.images, details=None)
    path = tmp_path / "index.html"
    path.write_bytes(dict(proof_files("p", found, manifest, []))["index.html"])
    opened = browser.new_page(viewport={"width": 1440, "height": 2400})
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.goto(path.as_uri())
    yield opened
    opened.close()
    assert faults == []


def codes_of(board: Board, banked: Callable[..., Contents], bank: int) -> np.ndarray:
    contents = banked(board, (0, 3))
    words = {name: memory.words.astype(np.uint32) for name, memory in contents.memories.items()}
    return Scanned(board=board, words=words, banks=[bank]).codes[bank]


def test_pixels_of_all_different_screens_are_counted(scanned: Scanned) -> None:
    section = palette_section(scanned)
    counts = np.bincount(np.concatenate([codes.ravel() for codes in scanned.codes.values()]), minlength=64)
    assert [swatch["pixels"] for swatch in section["swatches"]] == counts.tolist()
    assert (section["codes"], section["used"]) == (64, 32)
    assert sorted(code for rows in section["fields"] for row in rows for code in row) == list(range(64))


def test_pointing_at_a_colour_marks_its_pixels_and_counts_them(page: Page, board: Board, banked) -> None:
    field = palette_fields(board.palette)[2]
    box = page.locator("#palette-plot image").nth(2).bounding_box()
    assert box is not None
    code = int(field.codes[3, 1])
    page.mouse.move(box["x"] + box["width"] * 1.5 / 4, box["y"] + box["height"] * 3.5 / 4)
    page.locator("#palette-reading", has_text="bank 3").wait_for()
    codes = {bank: codes_of(board, banked, bank) for bank in (0, 3)}
    colours = board.palette.srgb8[codes[0].ravel()]
    page.wait_for_timeout(100)
    kept = (np.array(page.evaluate(SHOWN)) == colours).all(axis=1)
    assert kept.tolist() == (codes[0] == code).ravel().tolist()
    volts = ", ".join(f"{volt:.3f} V" for volt in board.palette.volts[code])
    assert page.evaluate(READING).split("\n") == [
        f"{code:02X}h {code:06b}, {board.palette.hex_of(code)}, {volts}",
        "",
        f"bank 0 picture-0: {(codes[0] == code).sum()} pixels",
        f"bank 3 picture-3: {(codes[3] == code).sum()} pixels",
    ]
    page.mouse.move(0, 0)
    page.locator("#palette-reading:empty").wait_for(state="attached")
    page.wait_for_timeout(100)
    assert page.evaluate(SHOWN) == colours.tolist()


def test_arrow_keys_go_through_all_fields(page: Page, board: Board) -> None:
    """From the first code to the right, into the next field past the edge, down, and out with Escape."""
    page.locator("#palette-plot").focus()
    fields = palette_fields(board.palette)
    seen = []
    for key in ("ArrowRight", *["ArrowRight"] * 4, "ArrowDown", "ArrowLeft"):
        page.keyboard.press(key)
        seen.append(page.evaluate(READING + ".slice(0, 3)"))
    expected = [fields[0].codes[0, 0], *fields[0].codes[0, 1:], fields[1].codes[0, 0], fields[1].codes[1, 0]]
    expected.append(fields[0].codes[1, 3])
    assert seen == [f"{code:02X}h" for code in expected]
    page.keyboard.press("Escape")
    assert page.evaluate(READING) == ""


def test_a_click_holds_the_pixel_and_arrow_keys_move_it(page: Page) -> None:
    chosen = "document.querySelector('[data-figure=pixel]')?.textContent ?? ''"

    def point(x: int, y: int) -> None:
        box = page.locator("#screen").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + (x + 0.5) * box["width"] / 160, box["y"] + (y + 0.5) * box["height"] / 120)

    def shown(words: str) -> None:
        page.locator("[data-figure=pixel]", has_text=words).wait_for()

    shown("column 80, line 60 of bank 0")
    assert page.locator("#pixel-said").inner_text() == "", "nothing is read out that nobody chose"
    point(40, 30)
    shown("column 40, line 30 of bank 0")
    page.mouse.down()
    page.mouse.up()
    point(90, 60)
    page.wait_for_timeout(100)
    assert page.evaluate(chosen) == "column 40, line 30 of bank 0"
    page.locator("#screen").focus()
    for key, words in [
        ("ArrowRight", "column 41, line 30"),
        ("Shift+ArrowDown", "column 41, line 38"),
        ("End", "column 159, line 38"),
        ("ArrowRight", "column 159, line 38"),
        ("Home", "column 0, line 38"),
    ]:
        page.keyboard.press(key)
        shown(words)
    page.keyboard.press("Escape")
    shown("column 80, line 60 of bank 0")
    point(90, 61)
    shown("column 90, line 61 of bank 0")
