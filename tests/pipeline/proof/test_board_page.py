"""The page of a board that is not built yet."""

from __future__ import annotations

import re
from dataclasses import replace

from ladderlight.board import Finding
from ladderlight.plots import palette_plot, scan_line_plot, timing_plot
from ladderlight.proof.page import board_page


def test_page_has_every_plot_and_loads_nothing(board) -> None:
    page = board_page("Tern Island", board, [])
    for plot in (palette_plot(board.palette), scan_line_plot(board.raster, board.x_counter), timing_plot(board)):
        assert plot in page
    assert page.count("<svg") == 3 + 3  # one ladder each for red, green and blue
    assert not re.search(r'(src|href)="', page)
    assert "<h1>Tern Island</h1>" in page


def test_page_gives_the_figures(board) -> None:
    page = board_page("Tern Island", board, [])
    row = re.search(r"<td class=\"number\">2</td>.*?</tr>", page, re.DOTALL)
    assert row is not None
    assert re.findall(r"<td[^>]*>([^<]*)</td>", row[0]) == [
        "2", "0.4753", "0.4667", "+8.62", "259.82", "+0.128", "+0.064", "3.440", "173"
    ]  # fmt: skip
    assert re.search(r'<th scope="row">r1</th><td class="number">6.65</td><td class="number">0.32</td>', page)
    # by Ohm's law, with 680 ohm alone high: 125/263 V at the output
    watts = (5 - 125 / 263) ** 2 / 680
    row = f'<th scope="row">red</th><td>r1</td><td class="number">680</td><td class="number">{watts * 1000:.1f}</td>'
    assert row in page


def test_tolerance_adds_a_column(board) -> None:
    wide = replace(board, ladder=replace(board.ladder, tolerance=0.05))
    page = board_page("Tern Island", wide, [])
    assert "within 5 %" in page
    assert "0.4537 to 0.4988" in page
    assert "within" not in re.sub("within the", "", board_page("Tern Island", board, []))


def test_findings_are_listed_and_escaped(board) -> None:
    page = board_page("A & B", board, [Finding(level="caution", where="ladder red", message="x < y; mend it")])
    assert "A &amp; B" in page
    assert "x &lt; y; mend it" in page
