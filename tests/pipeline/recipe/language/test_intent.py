from __future__ import annotations

from typing import Any

import pytest

from ladderlight.recipe.language.recovery import meaning_of


@pytest.mark.parametrize(
    ("written", "meant", "moves"),
    [
        (
            {"projct": {"nam": "x"}},
            {"project": {"name": "x"}},
            {("project",): ("projct",), ("project", "name"): ("projct", "nam")},
        ),
        (
            {"board": {"memory": {"adress": ["x0"]}}},
            {"board": {"memory": [{"address": ["x0"]}]}},
            {
                ("board", "memory", 0): ("board", "memory"),
                ("board", "memory", 0, "address"): ("board", "memory", "adress"),
            },
        ),
        ({"board": [{"clock": 1}]}, {"board": {"clock": 1}}, {("board",): ("board", 0)}),
        ({"stage": {"use": "x"}}, {"stage": [{"use": "x"}]}, {("stage", 0): ("stage",)}),
        (
            {"board": {}, "ladder": {"suply": 5}},
            {"board": {"ladder": {"supply": 5}}},
            {("board", "ladder"): ("ladder",), ("board", "ladder", "supply"): ("ladder", "suply")},
        ),
        (
            {"board": {}, "memory": [{"nam": "m"}]},
            {"board": {"memory": [{"name": "m"}]}},
            {("board", "memory"): ("memory",), ("board", "memory", 0, "name"): ("memory", 0, "nam")},
        ),
    ],
)
def test_what_is_meant(written: dict[str, Any], meant: dict[str, Any], moves: dict[Any, Any]) -> None:
    assert meaning_of(written, board_inside=True) == (meant, moves)


@pytest.mark.parametrize(
    "written",
    [
        {"project": {"name": "a", "nam": "b"}},  # the right one is there
        {"stage": [{"use": "x", "us": 3}], "picture": [{"match": "x", "matc": {}}]},  # options of stages
        {"board": {"ladder": {"red": {"r2": "1k", "line": "2k"}}}},  # lines of the writer's own
        {"board": "b.toml", "ladder": {}},
        {"board": {"ladder": {}}, "ladder": {}},
        {"zebra": 1, "board": 3, "stage": "x", "pictures": []},
    ],
)
def test_what_is_left_as_it_is(written: dict[str, Any]) -> None:
    assert meaning_of(written, board_inside=True) == (written, {})


def test_nothing_moves_into_a_board_file() -> None:
    assert meaning_of({"board": {}, "ladder": {}}, board_inside=False)[1] == {}
