"""SVG elements as text."""

from __future__ import annotations

import pytest

from ladderlight.proof.plots.drawing import dot, drawing, line, number, rectangle, text, trace


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
    root = read(
        drawing(10, 'a "b" <c>', [text(0, 0, "<&>", more="x<y"), rectangle(0, 0, 1, 1, fill="#fff", title="<t>")])
    )
    assert root.get("aria-label") == 'a "b" <c>'
    assert words(root) == ["<&>x<y"]
    assert "<title>&lt;t&gt;</title>" in rectangle(0, 0, 1, 1, fill="#fff", title="<t>")


def test_elements(read, every) -> None:
    root = read(drawing(50, "all", [line(0, 1, 2, 3, dash="4 3"), trace([(0, 0), (1, 2)]), dot(5, 6, 2, fill="#f00")]))
    assert root.get("viewBox") == "0 0 720 50"
    assert every(root, "line")[0].get("stroke-dasharray") == "4 3"
    assert every(root, "polyline")[0].get("points") == "0,0 1,2"
    assert (every(root, "circle")[0].get("cx"), every(root, "circle")[0].get("fill")) == ("5", "#f00")


def test_no_negative_sizes(every, read) -> None:
    (rect,) = every(read(drawing(1, "r", [rectangle(0, 0, -5, 3, fill="#000")])), "rect")
    assert rect.get("width") == "0"
