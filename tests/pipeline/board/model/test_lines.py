from __future__ import annotations

import pytest

from ladderlight.board.model.lines import Expression, Line, LineSyntaxError, Signal, expand, expand_names, line


@pytest.mark.parametrize(
    ("name", "signal", "index", "memory"),
    [
        ("x3", Signal.X, 3, ""),
        ("y0", Signal.Y, 0, ""),
        ("bank12", Signal.BANK, 12, ""),
        ("low", Signal.CONSTANT, 0, ""),
        ("high", Signal.CONSTANT, 1, ""),
        ("map.d7", Signal.OUTPUT, 7, "map"),
        ("x3.d1", Signal.OUTPUT, 1, "x3"),
        ("r0", Signal.NAMED, 0, ""),
        ("x", Signal.NAMED, 0, ""),
        ("xx3", Signal.NAMED, 0, ""),
    ],
)
def test_names_tell_what_they_are(name: str, signal: Signal, index: int, memory: str) -> None:
    assert line(name) == Line(name, signal, index, memory)


@pytest.mark.parametrize(
    ("text", "pins"),
    [
        ("x2", ["x2"]),
        ("x2-x4", ["x2", "x3", "x4"]),
        ("y4-y2", ["y4", "y3", "y2"]),
        ("!y8", ["!y8"]),
        ("!x0-x1", ["!x0", "!x1"]),
        ("map.d0-map.d2", ["map.d0", "map.d1", "map.d2"]),
        ("x2^map.d7", ["x2^map.d7"]),
        ("x0-x2^map.d7", ["x0^map.d7", "x1^map.d7", "x2^map.d7"]),
        ("x0-x1^y3-y4", ["x0^y3", "x1^y4"]),
        ("!x0^!y0", ["x0^y0"]),
        ("!x0^y0", ["!x0^y0"]),
        ("x0 ^ y0", ["x0^y0"]),
        ("low", ["low"]),
        ("bank0-bank1", ["bank0", "bank1"]),
    ],
)
def test_entries_expand_to_pins(text: str, pins: list[str]) -> None:
    assert [str(expression) for expression in expand(text)] == pins


def test_two_inverters_cancel() -> None:
    assert expand("!x0^!y0") == [Expression((line("x0"), line("y0")))]


@pytest.mark.parametrize(
    "text", ["", "x2-", "-x2", "x2--x4", "3x", "x2^", "x-y", "x2-y4", "map.d0-tile.d2", "!!x0", "x 2"]
)
def test_what_is_not_a_line_is_refused(text: str) -> None:
    with pytest.raises(LineSyntaxError):
        expand(text)


def test_ranges_in_a_gate_must_be_equally_long() -> None:
    with pytest.raises(LineSyntaxError, match="make them equally long"):
        expand("x0-x2^y0-y1")


def test_a_range_is_not_endless() -> None:
    with pytest.raises(LineSyntaxError, match="64 is the most"):
        expand("x0-x99")


def test_data_names_expand() -> None:
    assert expand_names("r0-r2") == ["r0", "r1", "r2"]
    assert expand_names("sync") == ["sync"]
    assert expand_names("-") == ["-"]
    assert expand_names("!x_reset") == ["!x_reset"]


@pytest.mark.parametrize("text", ["!r0", "r0^r1", "map.d0", "", "r-"])
def test_data_names_are_plain(text: str) -> None:
    with pytest.raises(LineSyntaxError, match="is not a name"):
        expand_names(text)
