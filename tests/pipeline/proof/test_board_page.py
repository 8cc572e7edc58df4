"""The page of a board that is not built yet."""

from __future__ import annotations

import re
from dataclasses import replace

from ladderlight.board import Finding
from ladderlight.proof.pages import board_page
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.plots.raster import sync_plot
from ladderlight.proof.plots.timings import timing_plot


def test_page_has_every_plot_and_loads_nothing(board) -> None:
    page = board_page("Merrowhithe", board, [])
    for plot in (palette_plot(board.palette), sync_plot(board, "x"), sync_plot(board, "y"), timing_plot(board)):
        assert plot in page
    assert page.count("<svg") == 4 + 1  # red, green and blue are alike
    assert not re.search(r'(src|href)="(?!data:)', page)
    assert "<h1>Merrowhithe</h1>" in page


def test_page_gives_the_figures(board) -> None:
    page = board_page("Merrowhithe", board, [])
    row = re.search(r"<td class=\"number\">2</td>.*?</tr>", page, re.DOTALL)
    assert row is not None
    assert re.findall(r"<td[^>]*>([^<]*)</td>", row[0]) == [
        "2", "0.4516", "0.4667", "-15.03", "208.84", "-0.098", "-0.049", "3.252", "165"
    ]  # fmt: skip
    assert re.search(r'<th scope="row">r1</th><td class="number">6.36</td><td class="number">0.34</td>', page)
    # by Ohm's law, with 715 ohm alone high: 19950/44173 V at the output
    watts = (5 - 19950 / 44173) ** 2 / 715
    row = f'<th scope="row">red</th><td>r1</td><td class="number">715</td><td class="number">{watts * 1000:.1f}</td>'
    assert row in page


def test_tolerance_adds_a_column(board) -> None:
    wide = replace(board, ladder=replace(board.ladder, tolerance=0.05))
    page = board_page("Merrowhithe", wide, [])
    assert "within 5 %" in page
    assert "0.4309 to 0.4742" in page  # 715 ohm 5 % up and 1330 ohm down, and the other way round
    assert "within" not in re.sub("within the", "", board_page("Merrowhithe", board, []))


def test_findings_are_listed_and_escaped(board) -> None:
    page = board_page("A & B", board, [Finding(level="caution", where="ladder red", message="x < y; mend it")])
    assert "A &amp; B" in page
    assert "x &lt; y; mend it" in page


def test_findings_cannot_act(board) -> None:
    finding = Finding(level="note", where="device a\x1b[31m", message="b\u202ec\nd \udce9")
    page = board_page("Merrowhithe", board, [finding])
    assert r"device a\x1b[31m</span> b\u202ec\nd \xe9</div>" in page
    assert not re.search("[\x00-\x09\x0b-\x1f\u202e\ud800-\udfff]", page)
