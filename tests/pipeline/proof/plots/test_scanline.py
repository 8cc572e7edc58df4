"""One scan line to scale."""

from __future__ import annotations

from fractions import Fraction

import pytest

from ladderlight.board import MODES, Raster
from ladderlight.board.model.counter import Counter
from ladderlight.proof.plots import scan_line_plot


def drawn(mode: str, clock: int, start: int = 0, delay: int = 0) -> str:
    raster = Raster(mode=MODES[mode], clock=Fraction(clock))
    return scan_line_plot(raster, Counter(start=start, reset=0, counts=raster.x, delay=delay))


def test_parts_are_to_scale(read, every) -> None:
    """640, 16, 96 and 48 of 800 counts."""
    parts = every(read(drawn("640x480@60", 25_175_000)), "rect")
    widths = [float(part.get("width")) for part in parts]
    assert [width / sum(widths) for width in widths] == pytest.approx([0.8, 0.02, 0.12, 0.06], abs=1e-4)
    edges = [float(part.get("x")) for part in parts]
    assert [x + width for x, width in zip(edges, widths, strict=True)][:3] == pytest.approx(edges[1:], abs=0.02)


def test_words_give_counts_and_times(read, words) -> None:
    written = words(read(drawn("1024x768@60", 16_250_000)))
    assert written == [
        "visible: 256 counts, 15.754 µs",
        "one line: 336 counts, 20.677 µs, 48.363 kHz",
        "sync, negative",
        "front porch: counts 256 to 261, 6 of them, 0.369 µs",
        "sync: counts 262 to 295, 34 of them, 2.092 µs",
        "back porch: counts 296 to 335, 40 of them, 2.462 µs",
    ]


def test_counts_are_what_the_counter_reads(read, words) -> None:
    """144 is sync and back porch: the counter is reset where sync begins. Sync and blanking are two counts late."""
    written = words(read(drawn("640x480@60", 25_175_000, start=144, delay=2)))
    assert [text for text in written if "counts " in text and " to " in text] == [
        "front porch: counts 786 to 1, 16 of them, 0.636 µs",
        "sync: counts 2 to 97, 96 of them, 3.813 µs",
        "back porch: counts 98 to 145, 48 of them, 1.907 µs",
    ]


@pytest.mark.parametrize(
    ("mode", "clock", "down"), [("640x480@60", 25_175_000, True), ("800x600@60", 40_000_000, False)]
)
def test_sync_has_its_polarity(read, every, mode: str, clock: int, down: bool) -> None:
    (trace,) = every(read(drawn(mode, clock)), "polyline")
    y = [float(point.split(",")[1]) for point in trace.get("points").split()]
    assert y[0] == y[1] == y[4] == y[5]
    assert y[2] == y[3]
    assert (y[2] > y[0]) is down
