"""SVG elements as text."""

from __future__ import annotations

import pytest

from ladderlight.proof.plots.drawing import (
    WIDTH,
    dot,
    drawing,
    keys,
    line,
    number,
    rectangle,
    round_step,
    scale,
    text,
    trace,
    width_of,
)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0.0, "0"),
        (-0.001, "0"),
        (1.0, "1"),
        (100.0, "100"),
        (1.005, "1"),
        (2.5, "2.5"),
        (-3.14159, "-3.14"),
        (1e3, "1000"),
    ],
)
def test_numbers(value: float, written: str) -> None:
    assert number(value) == written


def test_words_are_escaped(read, words) -> None:
    root = read(drawing(10, 'a "b" <c>', [text(0, 0, "<&>"), rectangle(0, 0, 1, 1, fill="#fff", title="<t>")]))
    assert root.get("aria-label") == 'a "b" <c>'
    assert words(root) == ["<&>"]
    assert "<title>&lt;t&gt;</title>" in rectangle(0, 0, 1, 1, fill="#fff", title="<t>")


def test_elements(read, every) -> None:
    root = read(drawing(50, "all", [line(0, 1, 2, 3, dash="4 3"), trace([(0, 0), (1, 2)]), dot(5, 6, 2, fill="#f00")]))
    assert root.get("viewBox") == "0 0 360 50"
    assert every(root, "line")[0].get("stroke-dasharray") == "4 3"
    assert every(root, "polyline")[0].get("points") == "0,0 1,2"
    assert (every(root, "circle")[0].get("cx"), every(root, "circle")[0].get("fill")) == ("5", "#f00")


def test_no_negative_sizes(every, read) -> None:
    (rect,) = every(read(drawing(1, "r", [rectangle(0, 0, -5, 3, fill="#000")])), "rect")
    assert rect.get("width") == "0"


def test_keys_go_on_in_the_next_row_where_the_width_ends(read, every) -> None:
    written, end = keys(20.0, [("a" * 25, "#000"), ("b" * 25, "#111"), ("c", "#222")])
    squares = every(read(drawing(60, "keys", written)), "rect")
    assert [square.get("y") for square in squares] == ["12", "27", "27"]
    assert end == 35.0
    assert float(squares[2].get("x")) >= 8 + 5 + width_of("b" * 25)


@pytest.mark.parametrize(
    ("span", "most", "step"), [(158.9, 8, 20.0), (0.8, 9, 0.1), (1.0, 10, 0.1), (31.778e-6, 8, 5e-6)]
)
def test_round_steps(span: float, most: int, step: float) -> None:
    assert round_step(span, most) == pytest.approx(step)


def test_a_scale_has_its_figures_where_they_belong(read, every, words) -> None:
    root = read(drawing(60, "scale", scale(10.0, 180e-9, 50e-9, 1e-9, "time, ns")))
    assert words(root) == ["0", "50", "100", "150", "time, ns"]
    ticks = [float(tick.get("x1")) for tick in every(root, "line")[1:]]
    assert ticks == pytest.approx([WIDTH * at / 180 for at in (0, 50, 100, 150)], abs=0.01)
