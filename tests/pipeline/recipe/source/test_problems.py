from __future__ import annotations

from ladderlight.errors import Fault, Problem
from ladderlight.recipe.source.document import Document
from ladderlight.recipe.source.problems import Report, dig, tables


def problem(*where: str | int, what: str = "wrong") -> Problem:
    return Problem(where=where, what=what, action="mend it")


RECIPE = Document(shown="r.toml", text='b = 1\na = 2\nboard = "b.toml"\n', data={})
UNREADABLE = Fault(where="z.toml:1:1", message="what; what to do")
BOARD = Document(shown="b.toml", text="[board]\nclock = 1\nmode = 2\n", data={})


def test_problems_come_by_file_and_line_each_once() -> None:
    report = Report(recipe=RECIPE, board=BOARD, board_prefix=("board",), unreadable=[UNREADABLE])
    report.add_all([problem("mode"), problem("clock")], ("board",))
    report.add_all([problem("a"), problem("b"), problem("a"), problem("a", what="again")])
    assert list(map(str, report.faults)) == [
        "r.toml:1:5: wrong; mend it",
        "r.toml:2:5: wrong; mend it",
        "r.toml:2:5: again; mend it",
        "b.toml:2:9: wrong; mend it",
        "b.toml:3:8: wrong; mend it",
        "z.toml:1:1: what; what to do",
    ]


def test_what_is_wrong_below_a_path() -> None:
    report = Report(recipe=RECIPE)
    report.add_all([problem("board", "memory", 1, "part")])
    assert report.has("board")
    assert report.has("board", "memory", 1)
    assert not report.has("board", "memory", 0)
    assert [found.where for found in report.below("board")] == [("memory", 1, "part")]
    assert report.below("pictures") == []


def test_digging() -> None:
    raw = {"a": [{"b": 1}], "c": 3}
    assert dig(raw, "a", 0, "b") == 1
    assert dig(raw, "a", 1, "b") is None
    assert dig(raw, "c", "d") is None
    assert tables({"s": [{"a": 1}, 3]}, "s") == [{"a": 1}, {}]
    assert tables({"s": {"a": 1}}, "s") == []
