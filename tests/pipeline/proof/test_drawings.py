import pytest

from ladderlight.proof.drawings import guns_of, scan_line


def test_levels_of_each_gun(board):
    """1500 and 680 ohm from 5 V into 75 ohm: 0, 170/789, 125/263, 545/789 V."""
    guns = guns_of(board)
    assert [gun["name"] for gun in guns] == ["red", "green", "blue"]
    for gun in guns:
        assert [level["volts"] for level in gun["levels"]] == ["0.000", "0.215", "0.475", "0.691"]
        assert [level["x"] for level in gun["levels"]] == pytest.approx([0, 24.62, 54.32, 78.94], abs=0.01)
    assert guns[1]["levels"][0]["colour"] == "#000000"
    assert guns[1]["levels"][3]["colour"] == "#00fc00"


def test_a_scan_line_to_scale(board):
    """640x480@60 in VESA's table: 640 visible, 16, 96 and 48 of 800 counts of 39.72 ns."""
    line = scan_line(board)
    assert (line["total"], line["microseconds"]) == (800, "31.78")
    assert [(part["name"], part["counts"]) for part in line["parts"]] == [
        ("visible", 640),
        ("front porch", 16),
        ("sync", 96),
        ("back porch", 48),
    ]
    assert [part["width"] for part in line["parts"]] == [80, 2, 12, 6]
    assert sum(part["width"] for part in line["parts"]) == 100
