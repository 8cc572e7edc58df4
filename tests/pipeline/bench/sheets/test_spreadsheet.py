from __future__ import annotations

import csv
import io

from ladderlight.bench.sheets.document import bench_of
from ladderlight.bench.sheets.page import spreadsheets
from ladderlight.board import Part
from ladderlight.board.advice import findings


def rows(data):
    return list(csv.DictReader(io.StringIO(data.decode(), newline="")))


def test_wiring_and_parts_as_tables(board) -> None:
    files = spreadsheets(bench_of(board, findings(board)))
    assert list(files) == ["wiring.csv", "parts.csv"]
    wiring = rows(files["wiring.csv"])
    assert len(wiring) == 32 + 15
    assert wiring[4] == {
        "chip": "U1",
        "device": "picture",
        "part": "27C010",
        "package": "DIP-32",
        "pin": "5",
        "name": "A7",
        "line": "x9",
        "to": "x counter, bit 9",
        "hertz": "31468.750",
        "Ladderlight": "",
    }
    assert wiring[11]["hertz"] == "3146875.000"  # no exponent, which spreadsheets round
    assert rows(files["parts.csv"])[0]["value"] == "27C010"


def test_no_cell_can_act_as_a_formula(make_board, memory, ladder) -> None:
    """Spreadsheets calculate cells that begin with =, +, - or @ (common practice); an apostrophe makes them text."""
    for number in ("=1+1", "+1", "-1", "@SUM(1)"):
        own = Part(number=number, words=1 << 14, width=4, package=number)
        board = make_board(memory(address=["x3-x9", "y3-y8"], data=["r0"], part=own), ladder=ladder(red={"r0": 460.0}))
        files = spreadsheets(bench_of(board, findings(board)))
        cells = [cell for data in files.values() for row in rows(data) for cell in row.values()]
        assert f"'{number}" in cells
        assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
