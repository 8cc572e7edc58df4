from __future__ import annotations

import json
from dataclasses import replace

import pytest

from ladderlight.board import Board, Counters
from ladderlight.board.advice import findings
from ladderlight.board.advice.report import report


def test_the_report_is_plain_and_complete(board: Board) -> None:
    document = report(board, [])
    assert json.loads(json.dumps(document)) == document
    assert list(document) == [
        "ok",
        "picture",
        "raster",
        "palette",
        "ladder",
        "memories",
        "devices",
        "timing",
        "blanking",
        "findings",
    ]
    assert document["ok"] is True
    assert document["picture"] == {
        "width": 160,
        "height": 120,
        "repeat_x": 4,
        "repeat_y": 4,
        "pixel_aspect": 1.0,
        "banks": 4,
    }


def test_raster(board: Board) -> None:
    raster = report(board, [])["raster"]
    assert raster["mode"] == "640x480@60"
    assert raster["clock_hz"] == raster["dot_clock_hz"] == 25_175_000.0
    assert raster["line_rate_hz"] == 31_468.75
    assert raster["x"] == {
        "visible": 640,
        "start": 0,
        "blanking_start": 640,
        "sync_start": 656,
        "sync_end": 752,
        "blanking_end": 0,
        "last": 799,
        "reset_to": 0,
        "total": 800,
    }
    assert {key: raster["y"][key] for key in ("visible", "sync_start", "sync_end", "last", "total")} == {
        "visible": 480,
        "sync_start": 490,
        "sync_end": 492,
        "last": 524,
        "total": 525,
    }
    assert raster["whole"] is True


def test_counts_are_what_the_counters_read(board: Board) -> None:
    """144 and 35 are sync and back porch of 640x480@60: counters that are preset, and counters reset at sync."""
    preset = report(replace(board, counters=Counters(x_start=144, y_start=35)), [])["raster"]
    assert (preset["x"]["sync_start"], preset["x"]["last"], preset["x"]["reset_to"]) == (800, 943, 144)
    assert (preset["y"]["sync_start"], preset["y"]["last"], preset["y"]["reset_to"]) == (525, 559, 35)
    counters = Counters(x_start=144, x_reset=0, y_start=35, y_reset=0, blanking_delay=3)
    at = report(replace(board, counters=counters), [])["raster"]
    assert (at["x"]["start"], at["x"]["blanking_start"], at["x"]["blanking_end"]) == (144, 787, 147)
    assert (at["x"]["sync_start"], at["x"]["sync_end"], at["x"]["last"], at["x"]["reset_to"]) == (3, 99, 799, 0)
    assert (at["y"]["sync_start"], at["y"]["sync_end"], at["y"]["last"]) == (0, 2, 524)
    assert (at["y"]["start"], at["y"]["blanking_start"], at["y"]["blanking_end"]) == (35, 515, 35)


def test_palette(board: Board) -> None:
    palette = report(board, [])["palette"]
    assert [entry["code"] for entry in palette] == list(range(64))
    assert palette[0] == {"code": 0, "volts": [0.0, 0.0, 0.0], "srgb": "#000000"}
    assert palette[1]["volts"] == pytest.approx([0, 0, 10725 / 44173], abs=1e-6)
    assert palette[63]["srgb"] == "#fdfdfd"  # 30675/44173 V of 0.7 V, times 255


def test_memories_devices_and_timing(make_board, memory) -> None:
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="28C64", chips=4, access=150e-9)
    )
    document = report(board, [])
    (picture,) = document["memories"]
    assert picture["part"] == "28C64"
    assert (picture["words"], picture["width"], picture["chips"]) == (32_768, 8, 4)
    assert (picture["stride"], picture["last_word"], picture["used_words"]) == (256, 0x779F, 19_200)
    assert picture["grades_ns"] == [120.0, 150.0, 200.0, 250.0]
    assert picture["address"][:2] == ["x2", "x3"]
    assert [device["name"] for device in document["devices"]] == [f"picture-{chip}" for chip in range(4)]
    assert [device["first_word"] for device in document["devices"]] == [0, 8192, 16_384, 24_576]
    assert document["timing"]["picture"] == {
        "hold_ns": 158.888,
        "access_ns": 150.0,
        "margin_ns": 8.888,
        "left_ns": 8.888,
        "old_ns": 0.0,
        "undefined_ns": 150.0,
        "old_pixels": 0.0,
        "undefined_pixels": 3.776,
        "undefined_share": 0.944063,
    }
    assert document["blanking"] == {
        "way": "none",
        "volts": None,
        "dark": None,
        "fillable": False,
        "shared_words": {"picture": 640},
        "delay": 0,
        "delay_needed": 0,
    }


def test_an_impossible_board_reports_its_errors_alone(board: Board) -> None:
    board = replace(board, memories=())
    document = report(board, findings(board))
    assert list(document) == ["ok", "findings"]
    assert document["ok"] is False
    assert {finding["level"] for finding in document["findings"]} == {"error"}
    assert document["findings"][0]["message"] == "the board has no memory; add a [[board.memory]]"
