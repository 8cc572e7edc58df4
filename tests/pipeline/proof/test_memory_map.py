"""Chips drawn to scale."""

from __future__ import annotations

import pytest

from ladderlight.devices.files import images_of
from ladderlight.proof.page.memory_map import chip_maps
from ladderlight.proof.scanout import memories_of
from ladderlight.workspace.description import describe
from ladderlight_stages.emissions.binary import binary

UNCHANGED = {"before": False, "devices": [], "pictures": []}


def maps(board, contents, *, changes=UNCHANGED, stale=None) -> list[dict]:
    files = binary(contents, board)
    images = images_of(board, memories_of(board, files))
    manifest = describe(project="p", board=board, contents=contents, files=files, images=images)
    unknown = [{"device": device.name, "differing": None, "banks": [], "runs": []} for device in board.devices]
    return chip_maps(manifest, changes, stale or unknown)


def differing(count: int, *banks: tuple[int, str, int], runs=()) -> dict:
    named = [{"bank": bank, "pictures": [name], "differing": part} for bank, name, part in banks]
    return {"device": "picture", "differing": count, "banks": named, "runs": list(runs)}


def test_banks_lie_to_scale(board, banked) -> None:
    """Four banks of 8000h in 20000h words: 160x120 pixels reach 779Fh, 93.5 % of a bank, in 256 words a line."""
    (chip,) = maps(board, banked(board, (0, 2)))
    (row,) = chip["rows"]
    assert [(box.bank, box.label) for box in row.boxes] == [(0, "0"), (2, "2")]
    assert [box.left for box in row.boxes] == [0, 50]
    assert [box.width for box in row.boxes] == [pytest.approx(100 * 0x77A0 / 0x20000)] * 2
    assert [box.used for box in row.boxes] == [pytest.approx(100 * 19200 / 0x77A0)] * 2
    assert row.boxes[1].title == "picture-2, 10000h to 1779Fh"
    assert chip["padding"] == 2 * (0x77A0 - 19200)
    assert chip["beyond"] == 0x20000 - 2 * 0x77A0
    assert chip["padding"] + chip["beyond"] + chip["device"]["used_words"] == 0x20000


def test_many_banks_stand_in_rows(make_board, memory, banked) -> None:
    board = make_board(memory(address=["x5-x9", "y5-y8", "bank0-bank7"], data=["b0-b1", "g0-g1", "r0-r1"]))
    (chip,) = maps(board, banked(board, tuple(range(0, 256, 3))))
    assert (len(chip["rows"]), chip["scale"]) == (16, "16 rows of 8,192 words")
    assert [row.first for row in chip["rows"][:3]] == ["00000h", "02000h", "04000h"]
    assert [box.label for box in chip["rows"][1].boxes] == ["18", "21", "24", "27", "30"]
    assert all(box.left + box.width <= 100 for row in chip["rows"] for box in row.boxes)


def test_banks_between_each_other_are_one_box(make_board, memory, banked) -> None:
    board = make_board(memory(address=["bank0", "x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    (chip,) = maps(board, banked(board, (0, 1)))
    (box,) = chip["rows"][0].boxes
    assert (box.bank, box.label) == (None, "banks 0 to 1, word by word")
    assert box.used == pytest.approx(100 * 38400 / 0xEF40)


def test_a_memory_without_banks_and_a_chip_that_nothing_reads(make_board, memory, random_contents, banked) -> None:
    board = make_board(
        memory(address=["x2-x9", "y2-y8", "bank0"], data=["b0-b1", "g0-g1", "r0-r1"], part="27128", chips=4)
    )
    first, _, third, _ = maps(board, banked(board, (1,)))
    assert (first["rows"][0].boxes, first["padding"], first["beyond"]) == ([], 0, 16384)
    assert [box.bank for box in third["rows"][0].boxes] == [1]
    plain = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256"))
    (chip,) = maps(plain, random_contents(plain))
    (box,) = chip["rows"][0].boxes
    assert (box.label, box.bank, box.width) == ("in use", None, 100)


def test_what_differs_is_marked_and_said(board, banked) -> None:
    changes = {
        "before": True,
        "pictures": [],
        "devices": [differing(6, (2, "picture-2", 6), runs=[(0x10000, 0x1001F)])],
    }
    stale = [differing(9, (0, "picture-0", 2), (2, "picture-2", 6), runs=[(0, 1), (0x10000, 0x1FFFF)])]
    (chip,) = maps(board, banked(board, (0, 2)), changes=changes, stale=stale)
    row = chip["rows"][0]
    assert [(box.changed, box.stale) for box in row.boxes] == [(False, True), (True, True)]
    assert row.changed == [(50, pytest.approx(100 * 0x20 / 0x20000))]
    assert row.stale == [(0, pytest.approx(100 * 2 / 0x20000)), (50, 50)]
    assert chip["since_build"] == "6 bytes differ, in bank 2, picture-2"
    assert chip["since_burned"] == "", "nothing is known of a chip without a record"
