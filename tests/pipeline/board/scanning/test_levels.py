from __future__ import annotations

from pathlib import Path

import pytest

from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.levels import Parity, parity_of

ROOT = Path(__file__).parents[4]
DATA = ["b0-b1", "g0-g1", "r0-r1"]
X3, Y4 = (Signal.X, 3), (Signal.Y, 4)


@pytest.mark.parametrize(
    ("text", "counters", "level"),
    [
        ("x3", {X3}, 0),
        ("!x3", {X3}, 1),
        ("x3^y4", {X3, Y4}, 0),
        ("x3^y4^x3", {Y4}, 0),
        ("!x3^high", {X3}, 0),
        ("high^high^low", set(), 0),
        ("!low", set(), 1),
    ],
)
def test_a_gate_is_a_parity(make_board, memory, text: str, counters: set, level: int) -> None:
    board = make_board(memory(address=[text, "x4-x9", "y2-y8"], data=DATA), check=False)
    expression = board.memories[0].address[0]
    assert parity_of(board, expression) == Parity(frozenset(counters), frozenset(), level)


def test_names_and_outputs_are_one_line(make_board, memory) -> None:
    board = make_board(
        memory(name="map", address=["x5-x9", "y5-y8"], data=["tile", *DATA[:1]], part="27C256"),
        memory(address=["tile", "map.d0", "tile^map.d1", "x2-x9"], data=[*DATA[1:]]),
        check=False,
    )
    named, output, gate = board.memory("picture").address[:3]
    assert parity_of(board, named) == parity_of(board, output) == Parity(frozenset(), frozenset({("map", 0)}), 0)
    assert parity_of(board, gate).outputs == {("map", 0), ("map", 1)}


def test_gates_are_resolved_in_one_place() -> None:
    sources = [path for folder in ("pipeline", "plugins") for path in (ROOT / folder).rglob("*.py")]
    resolving = [path.name for path in sources if "expression.inverted" in path.read_text(encoding="utf-8")]
    assert resolving == ["levels.py"]
