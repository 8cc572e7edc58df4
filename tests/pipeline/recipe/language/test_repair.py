from __future__ import annotations

import copy
from collections.abc import Iterator

import pytest
from pydantic import ValidationError

from ladderlight.board.advice.checks import problems_of
from ladderlight.errors import Problem
from ladderlight.recipe.boards import board_of
from ladderlight.recipe.language.recovery import may_follow, repaired
from ladderlight.recipe.language.tables import BoardTable
from ladderlight.stages.validation import KeyName, as_json

RAW = {
    "mode": "640x480@60",
    "clock": "25.175 MHz",
    "memory": [
        {"name": "m", "part": "27C010", "address": ["x2-x9", "y2-y8"], "data": ["k0", "k1"]},
        {"name": "n", "part": "27C010", "address": ["m.d7"], "data": ["k2"]},
    ],
    "ladder": {"supply": "5 V", "grey": {"k0": "1k3", "k1": "680", "k2": "330"}},
}


def problem(*where: str | int) -> Problem:
    return Problem(where=where, what="", action="")


@pytest.mark.parametrize(
    ("where", "doubtful"),
    [
        (("mode",), {(None, "mode")}),
        (("clock",), {(None, "clock")}),
        (("counters", "x_start"), {(None, "counters")}),
        (("memory", 1, "name"), {(1, "name")}),
        (("memory", 0, "part"), {(0, "part")}),
        (("memory", 0, "address"), {(0, "address")}),
        (("memory", 0, "address", 1), {(0, "address")}),
        (("memory", 0, "data", 1), {(0, "data")}),
        (("memory", 0, KeyName("zebra")), set()),
        (("memory", 0, "packing"), {(0, "packing")}),
        (("memory", 0, "access"), {(0, "access")}),
        (("ladder", "supply"), set()),
        (("ladder", "grey", "k1"), set()),
        (("ladder", "grey", KeyName("k-1")), {(None, "ladder")}),
        (("ladder", KeyName("zebra")), {(None, "ladder")}),
        ((KeyName("zebra"),), set()),
    ],
)
def test_a_repaired_table_is_sound(where: tuple[str | int, ...], doubtful: set[tuple[int | None, str]]) -> None:
    raw = copy.deepcopy(RAW)
    table: object = raw
    for part in where[:-1]:  # spoil it there
        if isinstance(table, dict) and part not in table:
            table[part] = {}
        table = table[part] if isinstance(table, (dict, list)) else {}
    if isinstance(table, (dict, list)):
        table[where[-1]] = float("nan")  # type: ignore[index, call-overload]
    before = copy.deepcopy(raw)
    repair = repaired(raw, [problem(*where)])
    assert repair.possible
    assert repair.doubtful == doubtful
    BoardTable.model_validate_json(as_json(repair.raw), strict=True)
    assert str(raw) == str(before)  # nan is not itself


@pytest.mark.parametrize(
    ("key", "written", "meant", "doubtful"),
    [
        ("mode", "640x480@6O", "640x480@60", set()),
        ("mode", "640x480", "640x480@60", {(None, "mode")}),  # three are as near
        ("mode", {"horizontal": [1, 2]}, "640x480@60", {(None, "mode")}),
    ],
)
def test_a_mode_is_guessed_when_one_is_nearest(
    key: str, written: object, meant: str, doubtful: set[tuple[int | None, str]]
) -> None:
    repair = repaired(RAW | {key: written}, [problem(key)])
    assert repair.raw[key] == meant
    assert repair.doubtful == doubtful


def test_a_part_is_guessed_when_one_is_nearest() -> None:
    raw = copy.deepcopy(RAW)
    raw["memory"][0]["part"] = "27C01O"  # type: ignore[index]
    repair = repaired(raw, [problem("memory", 0, "part")])
    assert repair.raw["memory"][0]["part"] == "27C010"
    assert repair.doubtful == set()


@pytest.mark.parametrize("where", [("memory",), ("memory", 1), ("ladder",), ("ladder", "grey")])
def test_without_memory_or_ladder_nothing_can_be_said(where: tuple[str | int, ...]) -> None:
    raw = copy.deepcopy(RAW)
    table: object = raw
    for part in where[:-1]:
        table = table[part]  # type: ignore[index]
    table[where[-1]] = 3  # type: ignore[index]
    assert not repaired(raw, [problem(*where)]).possible


@pytest.mark.parametrize("key", ["name", "address", "data", "part"])
def test_missing_keys_of_a_memory_are_filled_in(key: str) -> None:
    raw = copy.deepcopy(RAW)
    del raw["memory"][0][key]  # type: ignore[index, attr-defined]
    repair = repaired(raw, [problem("memory", 0)])
    assert repair.doubtful == {(0, key)}
    BoardTable.model_validate_json(as_json(repair.raw), strict=True)


def test_no_problem_that_is_only_there_because_of_a_repair() -> None:
    """Spoil one value after another of a good board: the wiring of the repaired board is never complained of."""
    for where in paths(RAW):
        raw = copy.deepcopy(RAW)
        table: object = raw
        for part in where[:-1]:
            table = table[part]  # type: ignore[index]
        table[where[-1]] = float("nan")  # type: ignore[index]
        try:
            BoardTable.model_validate_json(as_json(raw), strict=True)
        except ValidationError as error:
            found = [problem(*tuple(part for part in detail["loc"])) for detail in error.errors()]
        repair = repaired(raw, found)
        if not repair.possible:
            continue
        board = board_of(BoardTable.model_validate_json(as_json(repair.raw), strict=True))
        assert [str(p) for p in problems_of(board) if not may_follow(p, repair, board)] == [], where


def paths(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in inner:
        yield (*path, key)
        yield from paths(item, (*path, key))
