"""What can be said of pictures in banks from their names alone."""

from __future__ import annotations

import pytest

from ladderlight import Origin
from ladderlight_stages.banks import one_bank_each

OPTIONS = {"match": "*", "share": False}
ORIGINS = [Origin(name=name, source=f"{name}.png") for name in "ab"]
DATA = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.mark.parametrize("line", ["bank0", "bank2"])
def test_a_memory_with_the_only_bank_line_tells_banks_apart(make_board, memory, line):
    board = make_board(memory(address=["x2-x9", "y2-y8", line], data=DATA))
    assert list(one_bank_each(ORIGINS, board, OPTIONS)) == []


def test_a_memory_without_the_bank_line_does_not(make_board, memory):
    board = make_board(
        memory(name="one", address=["x2-x9", "y2-y8", "bank2"], data=DATA[:2]),
        memory(name="two", address=["x2-x9", "y2-y8"], data=DATA[2:]),
    )
    (problem,) = one_bank_each(ORIGINS, board, OPTIONS)
    assert problem.what == (
        "memory 'two' cannot tell banks 0 and 1 apart, so the build fails unless 'a' and 'b' are the same in it"
    )
    assert problem.action == "add bank2 to its address"
