"""Words of the plots in Chromium: legible on a small phone, apart from each other, and with no line through them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from ladderlight.board import Board, Counters
from ladderlight.board.ladders.analysis import analyse
from ladderlight.proof.plots.ladders import alike, ladder_plot
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.plots.raster import sync_plot
from ladderlight.proof.plots.timings import timing_plot

if TYPE_CHECKING:
    from playwright.sync_api import Browser

DATA = ["b0-b1", "g0-g1", "r0-r1"]
FAULTS = """() => {
    const found = [];
    const cuts = (box, low, high, at, size) => high > box[at] + 0.5 && low < box[at] + box[size] - 0.5;
    for (const svg of document.querySelectorAll("svg")) {
        const { width, height } = svg.viewBox.baseVal;
        const texts = [...svg.querySelectorAll("text")].map((text) => ({
            words: text.textContent, size: parseFloat(getComputedStyle(text).fontSize), ...boxOf(text) }));
        texts.forEach((one, at) => {
            if (one.x < -0.5 || one.y < -0.5 || one.x + one.width > width + 0.5 || one.y + one.height > height + 2) {
                found.push(`${one.words} leaves the plot`);
            }
            if (one.size * svg.getBoundingClientRect().width / width < 10) found.push(`${one.words} is too small`);
            for (const other of texts.slice(at + 1)) {
                if (cuts(one, other.x, other.x + other.width, "x", "width")
                    && cuts(one, other.y + 1, other.y + other.height - 1, "y", "height")) {
                    found.push(`${one.words} / ${other.words}`);
                }
            }
            for (const [x1, y1, x2, y2] of segments(svg)) {
                if (cuts(one, Math.min(x1, x2), Math.max(x1, x2), "x", "width")
                    && cuts(one, Math.min(y1, y2), Math.max(y1, y2), "y", "height")) {
                    found.push(`a line strikes ${one.words}`);
                }
            }
        });
    }
    return found;

    function boxOf(element) {
        const { x, y, width, height } = element.getBBox();
        return { x, y, width, height };
    }

    function segments(svg) {
        const lines = [...svg.querySelectorAll("line")].map((line) =>
            ["x1", "y1", "x2", "y2"].map((name) => line[name].baseVal.value));
        for (const { points } of svg.querySelectorAll("polyline")) {
            for (let at = 1; at < points.length; at += 1) {
                lines.push([points[at - 1].x, points[at - 1].y, points[at].x, points[at].y]);
            }
        }
        return lines;
    }
}"""


def plots_of(board: Board) -> list[str]:
    uses = {0: np.arange(len(board.palette), dtype=np.int64) % 3}
    ladders = [ladder_plot(group, peak=board.ladder.peak) for group in alike(analyse(board.ladder).channels)]
    shown = [timing_plot(board), sync_plot(board, "x"), sync_plot(board, "y"), palette_plot(board.palette, uses)]
    return [*shown, *ladders]


@pytest.fixture
def boards(make_board: Callable[..., Board], memory, ladder) -> list[Board]:
    """Boards of many kinds: direct, registered, too slow, mapped, of one colour and of many, of several modes."""
    plain = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9), counters=Counters(delay=22e-9))
    wide = {name: {f"{name[0]}{bit}": 1000.0 * 2**bit for bit in range(3)} for name in ("red", "green")}
    return [
        plain,
        replace(plain, ladder=replace(plain.ladder, tolerance=0.05)),
        make_board(memory(address=["x1-x8", "y2-y8"], data=DATA, access=450e-9)),
        make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=150e-9, output="register")),
        make_board(
            memory("the_long_name_of_a_map", address=["x5-x9", "y5-y8"], data=["t0-t5"], access=70e-9, part="28C64"),
            memory("tiles", address=["x2-x4", "y2-y4", "t0-t5"], data=DATA, access=55e-9, part="39SF010A"),
        ),
        make_board(
            memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g2", "r0-r2"]),
            ladder=ladder(**wide, blue={"b0": 1330.0, "b1": 715.0}),
        ),
        make_board(
            memory(address=["x6-x9", "y5-y8"], data=["k0-k3"], part="2716"),
            ladder=ladder(grey={f"k{bit}": 910.0 * 2 ** (3 - bit) for bit in range(4)}),
        ),
        make_board(mode="1024x768@60", clock="16250000", check=False),
        make_board(mode="800x600@75", clock="49500000", check=False),
        make_board(
            memory(address=["x2-x9", "y2-y8"], data=["k0-k6"]),
            ladder=ladder(red={f"k{bit}": 200.0 * 2 ** (6 - bit) for bit in range(7)}),
            check=False,
        ),
    ]


def test_no_words_overlap_and_no_line_strikes_them(boards: list[Board], browser: Browser) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 800})
    plots = [plot for board in boards for plot in plots_of(board)]
    page.set_content(f"<body style='margin:0 16px'>{''.join(plots)}</body>")
    assert page.locator("svg").count() == len(plots) > 50
    assert page.evaluate(FAULTS) == []
    page.close()


def test_faults_are_found(browser: Browser) -> None:
    """The check itself, on a plot with each kind of fault."""
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.set_content(
        '<svg viewBox="0 0 360 100" width="360"><text x="10" y="30">one</text><text x="20" y="32">two</text>'
        '<text x="100" y="60">struck</text><line x1="90" y1="55" x2="200" y2="55"/><text x="350" y="90">out</text>'
        '<text x="200" y="20" font-size="5">small</text></svg>'
    )
    assert page.evaluate(FAULTS) == ["one / two", "a line strikes struck", "out leaves the plot", "small is too small"]
    page.close()
