from __future__ import annotations

import math
import re
from typing import Any

import pytest

from ladderlight.board.advice.checks import problems_of
from ladderlight.errors import Problem
from ladderlight.recipe.boards import as_written, board_of
from ladderlight.recipe.language.tables import BoardTable
from ladderlight.stages.validation import as_json


def table(**changes: Any) -> BoardTable:
    memory = {"name": "m", "part": "27C010", "address": ["x2-x9", "y2-y8", "bank0", "bank1"], "data": ["k0-k1"]}
    raw = {
        "mode": "640x480@60",
        "clock": "25.175 MHz",
        "memory": [memory | changes.pop("memory", {})],
        "ladder": {"supply": "5 V", "grey": {"k0": "1k3", "k1": "680"}} | changes.pop("ladder", {}),
    }
    return BoardTable.model_validate_json(as_json(raw | changes), strict=True)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ({"words": 65536, "width": 8}, 65536),
        ({"words": "64 KiB", "width": 8}, 65536),
        ({"words": "64 KiB", "width": 16}, 32768),
        ({"words": "64 KiB", "width": 4}, 65536),
        ({"words": "96 KiB", "width": 24}, 32768),
    ],
)
def test_capacity_in_words_or_bytes(written: dict[str, Any], words: int) -> None:
    board = board_of(table(memory={"part": None} | written))
    assert (board.memories[0].part.words, board.memories[0].part.width) == (words, written["width"])


def test_a_part_of_ones_own() -> None:
    own = {
        "words": "16 KiB",
        "width": 8,
        "marking": "MH-77",
        "package": "DIP-28",
        "erasure": "sectors",
        "page": "4 KiB",
    }
    part = board_of(table(memory={"part": None} | own)).memories[0].part
    assert (part.number, part.words, part.package) == ("MH-77", 16384, "DIP-28")
    assert (part.erasure, part.block) == ("sectors", 4096)
    assert part.erasing == "electrically, in sectors of 4,096 bytes"
    plain = board_of(table(memory={"part": None, "words": 1024, "width": 4})).memories[0].part
    assert (plain.number, plain.erasure, plain.block, plain.package) == ("1024x4", "unknown", 1, "")


def test_another_number_of_a_part() -> None:
    assert board_of(table(memory={"part": "27C1001"})) == board_of(table(memory={"part": "27C010"}))


def test_pins_lead_back_to_the_entries_they_came_from() -> None:
    written = table(memory={"address": ["x2-x9", "map.d0", "y2-y8"], "data": ["k0-k1", "-", "b0-b1"]})
    where = [as_written(problem, written).where for problem in problems_of(board_of(written))]
    assert where == [("memory", 0, "data", 2), ("memory", 0, "data", 2), ("memory", 0, "address", 1)]


def test_lines_of_an_r2r_ladder_lead_back_to_their_entries() -> None:
    written = table(ladder={"grey": {"r2r": "330", "lines": ["k0-k1", "z5"]}})
    where = [as_written(problem, written).where for problem in problems_of(board_of(written))]
    assert where == [("ladder", "grey", "lines", 1)]


def test_other_places_stay() -> None:
    problem = Problem(where=("memory", 0, "name"), what="", action="")
    assert as_written(problem, table()) == problem


def test_banks() -> None:
    assert board_of(table()).bank_count == 4
    gap = table(memory={"address": ["x2-x9", "y2-y8", "!bank2^y0", "bank2"]})
    assert board_of(gap).bank_count == 2
    assert board_of(table(memory={"address": ["x2-x9"]})).bank_count == 1


@pytest.mark.parametrize(
    ("ladder", "high", "low"),
    [
        ({}, 0.0, 0.0),
        ({"driver": "50 ohm"}, 50.0, 50.0),
        ({"driver": {"high": "60 ohm", "low": 30}}, 60.0, 30.0),
        ({"driver": "50 ohm", "low": "floating"}, 50.0, math.inf),
    ],
)
def test_drivers(ladder: dict[str, Any], high: float, low: float) -> None:
    found = board_of(table(ladder=ladder)).ladder
    assert (found.driver_high, found.driver_low) == (high, low)


def test_a_tube() -> None:
    ladder = board_of(table(ladder={"response": "tube", "tube_black": "2 %", "low_volts": "0.2 V"})).ladder
    assert (ladder.response, ladder.tube_black, ladder.low_volts) == ("tube", 0.02, 0.2)


@pytest.mark.parametrize(
    ("written", "parts", "joined"),
    [
        ("680 || 11k", (680.0, 11000.0), "parallel"),
        ("33+1k3", (33.0, 1300.0), "series"),
        ("33 ohm + 1.3 kohm", (33.0, 1300.0), "series"),
        ("4R7 || 4R7", (4.7, 4.7), "parallel"),
    ],
)
def test_a_pair_of_resistors(written: str, parts: tuple[float, float], joined: str) -> None:
    (red, *_) = board_of(table(ladder={"supply": 5, "red": {"r0": written, "r1": "1k3"}})).ladder.channels
    assert (red.pairs["r0"].parts, red.pairs["r0"].joined) == (parts, joined)
    assert list(red.pairs) == ["r0"]
    total = sum(parts) if joined == "series" else parts[0] * parts[1] / sum(parts)
    assert red.resistors == {"r0": pytest.approx(total), "r1": 1300.0}


@pytest.mark.parametrize("written", ["1e+3", 1000, "1k", "1000 ohm"])
def test_a_single_resistor_is_no_pair(written: str | float) -> None:
    (red, *_) = board_of(table(ladder={"supply": 5, "red": {"r0": written}})).ladder.channels
    assert (red.resistors, red.pairs) == ({"r0": 1000.0}, {})


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("680 || 11k || 1k", "is '680 || 11k || 1k', which is not a pair"),
        ("680 +", "is '680 +', which is not a pair"),
        ("680 || 11V", "is '11V', which is not a resistance"),
        ("0 + 680", "is '0', which is out of range"),
    ],
)
def test_what_is_not_a_pair(written: str, message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        table(ladder={"supply": 5, "red": {"r0": written}})
