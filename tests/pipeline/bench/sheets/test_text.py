from __future__ import annotations

from dataclasses import replace

from ladderlight.bench.sheets.document import bench_of, document_of
from ladderlight.bench.sheets.files import bench_sheet
from ladderlight.board import Part
from ladderlight.board.advice import findings


def text_of(board, project="Merrowhithe lobby screen"):
    return bench_sheet(project, bench_of(board, findings(board)))


def test_sections_in_order_and_78_columns(board) -> None:
    text = text_of(replace(board, blanking="output-enable"))
    headings = [
        before
        for before, after in zip(text.splitlines(), text.splitlines()[1:], strict=False)
        if set(after) in ({"-"}, {"="}) and len(after) > 8
    ]
    assert headings == [
        "Bench sheet: Merrowhithe lobby screen",
        "Findings",
        "Parts to buy",
        "Wiring, pin by pin",
        "Resistors",
        "Wiring, line by line",
        "Counts to decode",
        "Readings",
        "Cautions",
    ]
    assert max(map(len, text.splitlines())) <= 78


def test_rows_that_a_builder_reads(board) -> None:
    text = text_of(replace(board, blanking="output-enable"))
    for row in (
        "- Not listed, since they are yours to choose: the wiring between the counters,",
        "U1  picture  (27C010, DIP-32)",
        "   5  A7           x9              x counter, bit 9, 31.46875 kHz",
        "  13  D0           b0              R5 (1k33) to J1 pin 3 (blue)",
        "R5   1k33        line b0 to J1 pin 3 (blue), up to 17 mW",
        "x9              from x counter, bit 9",
        "  sync start        656  290h  1010010000  AND of x9 x7 x4, again at 688",
        "  reset               0  000h  0000000000  the reset itself",
        "r1 high: burn 20h",
        "    J1 pin 1 (red)    0.452 (0.431 to 0.474)  3.252 (3.136 to 3.364) ________",
    ):
        assert row in text.splitlines(), row


def test_a_narrow_sheet_has_the_same_words_in_hanging_lines(board) -> None:
    blanked = replace(board, blanking="output-enable")
    made = bench_of(blanked, findings(blanked))
    wide, narrow = (bench_sheet("Lobby", made, width=width) for width in (78, 60))
    assert [word for word in narrow.split() if set(word) > {"-"}] == [
        word for word in wide.split() if set(word) > {"-"}
    ]
    tables = narrow.index("Counts to decode"), narrow.index("Cautions")
    assert max(map(len, (narrow[: tables[0]] + narrow[tables[1] :]).splitlines())) <= 60
    at = narrow.splitlines().index("   5  A7           x9              x counter, bit 9,")
    assert narrow.splitlines()[at + 1] == " " * 35 + "31.46875 kHz"


def test_cautions_stand_where_they_are_needed(board) -> None:
    text = " ".join(text_of(replace(board, blanking="gate")).split())
    wiring, counts, readings = (text.index(head) for head in ("Wiring, pin by pin", "Counts to decode", "Readings -"))
    for words, after, before in (
        ("Power off.", wiring, counts),
        ("static discharge", wiring, counts),
        ("Programming voltage belongs in the programmer", wiring, counts),
        ("lethal voltages", counts, readings),
        ("the average, which is 73 % of the figure", readings, len(text)),
        ("5 %, as the recipe states none", readings, len(text)),
    ):
        assert after < text.index(words, after) < before, words


def test_the_document_has_its_keys_and_the_notes_of_the_wiring(make_board, memory, ladder) -> None:
    own = Part(number="MH-77", words=1 << 14, width=4)
    board = make_board(
        memory(address=["x3-x9", "y3-y8"], data=["r0"], part=own),
        memory("other", address=["x3-x9", "y3"], data=["g0"], part="2716"),
        ladder=ladder(red={"r0": 460.0}, green={"g0": 460.0}),
    )
    document = document_of(bench_of(board, findings(board)))
    assert list(document) == ["ok", "wiring", "lines", "parts", "counts", "readings", "findings"]
    assert document["ok"] is True
    assert [(chip["chip"], chip["device"]) for chip in document["wiring"]] == [
        ("U1", "picture"),
        ("U2", "other"),
        ("J1", ""),
    ]
    assert set(document["wiring"][0]) == {"chip", "device", "part", "package", "pins"}
    assert document["wiring"][1]["pins"][7] == {"pin": 8, "name": "A0", "line": "x3", "to": "x counter, bit 3"}
    assert set(document["parts"][0]) == {"quantity", "what", "value"}
    assert document["counts"]["x"]["last"] == {
        "decimal": 799,
        "hexadecimal": "31Fh",
        "binary": "1100011111",
        "and_bits": ["x9", "x8", "x4", "x3", "x2", "x1", "x0"],
        "again_at": None,
    }
    found = {(item["where"], item["message"].partition(";")[0]) for item in document["findings"]}
    assert ("chip U1", "pin-out not known") in found
    assert ("chip U2", "pin-out from memory") in found
    (green,) = [r for r in document["readings"] if r["lines"] == ["g0"]]
    assert green["words"] == {"picture": 0, "other": 1}
    assert green["loaded_volts"]["nominal"] == round(5 * 75 / (460 + 75), 6)


def test_long_names_and_markings_keep_to_the_columns(make_board, memory, ladder) -> None:
    """One output for three guns, a memory with a long name, and a marking that would act on a terminal."""
    own = Part(number="MH\x1b[2J77", words=1 << 14, width=4)
    board = make_board(
        memory("the_map_of_the_harbour", address=["x4-x9", "y4-y8"], data=["-"], part=own),
        memory(
            "tiles", address=["x2-x3^the_map_of_the_harbour.d3", "the_map_of_the_harbour.d0"], data=["v0"], part="2716"
        ),
        ladder=ladder(grey={"v0": 430.0}),
    )
    lines = text_of(board).splitlines()
    assert max(map(len, lines)) <= 78
    assert not any("\x1b" in line for line in lines)
    assert any(r"MH\x1b[2J77" in line for line in lines)
    at = lines.index("    J1 pins 1, 2 and 3 (red, green and blue)")
    assert lines[at + 1] == f"{'':22}0.000 (0.000 to 0.000)  0.000 (0.000 to 0.000) ________"
    (pin,) = [line for line in lines if line.startswith("   8  A0")]
    assert pin.split()[2:5] == ["x2^the_map_of_the_harbour.d3", "U3", "pin"]
