from __future__ import annotations

import re
from html import unescape

import pytest

from ladderlight.bench.sheets.document import bench_of
from ladderlight.bench.sheets.files import bench_page, bench_sheet
from ladderlight.board import Packing
from ladderlight.board.advice import findings


def words_of(page):
    body = page.partition("<body>")[2]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


def test_the_page_has_what_the_text_has_and_loads_nothing(board) -> None:
    page = bench_page("Lobby <1>", bench_of(board, findings(board)))
    text = words_of(page)
    for words in (
        "Lobby <1>",
        "1 27C010 memory chip, 150 ns or faster, DIP-32",
        "5 A7 x9 x counter, bit 9 31.46875 kHz",
        "13 D0 b0 R5 (1k33) to J1 pin 3 (blue)",
        "14 vsync vsync decoder of the counts, negative",
        "R5 1k33 line b0 J1 pin 3 (blue) 17 mW",
        "sync start 656 290h 1010010000 AND of x9 x7 x4, again at 688",
        "r1 high burn 20h J1 pin 1 (red) r1 6.36 mA 0.452 0.431 to 0.474 3.252 3.136 to 3.364",
        "Leave a tube monitor closed",
    ):
        assert words in text, words
    assert not re.search(r'(?:href|src|url\()=?["\']?(?!#)', page)
    assert "prefers-color-scheme: dark" in page
    assert "@media print" in page


@pytest.mark.parametrize("pixels", [1, 8])
def test_the_sheet_of_a_board_with_registers(make_board, memory, ladder, pixels) -> None:
    board = make_board(
        memory(
            address=["x3-x9", "y3-y8"],
            data=["v0"],
            part="27C256",
            output="register",
            packing=Packing(pixels=pixels),
        ),
        ladder=ladder(grey={"v0": 430.0}),
    )
    bench = bench_of(board, findings(board))
    unit = "U3 eight register bits" if pixels == 1 else "U3 eight bits, parallel load"
    assert unit in words_of(bench_page("Ferry times", bench))
    assert bench_sheet("Ferry times", bench).startswith("Bench sheet: Ferry times\n")
