"""One scan line and one frame to scale."""

from __future__ import annotations

import pytest

from ladderlight.board import Board, Counters
from ladderlight.proof.plots.raster import sync_plot


def parts_of(root, every) -> list:
    """The parts of the bar: those named when one points at them."""
    return [rect for rect in every(root, "rect") if len(rect)]


def rows_of(written: list[str]) -> list[str]:
    """The lines of the table below, a text for each, its head first."""
    start = next(at for at, words in enumerate(written) if words.endswith(" counter"))
    head, body = written[start : start + 3], written[start + 3 :]
    return [" | ".join(head)] + [" | ".join(body[at : at + 4]) for at in range(0, len(body), 4)]


def test_parts_of_a_line_are_to_scale(make_board, read, every) -> None:
    """640, 16, 96 and 48 of 800 counts: VESA DMT, 640x480 at 60 Hz."""
    parts = parts_of(read(sync_plot(make_board(), "x")), every)
    widths = [float(part.get("width")) for part in parts]
    assert [width / sum(widths) for width in widths] == pytest.approx([0.8, 0.02, 0.12, 0.06], abs=1e-4)
    edges = [float(part.get("x")) for part in parts]
    assert [x + width for x, width in zip(edges, widths, strict=True)][:3] == pytest.approx(edges[1:], abs=0.02)


def test_parts_of_a_frame_are_to_scale(make_board, read, every) -> None:
    """480, 10, 2 and 33 of 525 lines: VESA DMT, 640x480 at 60 Hz."""
    parts = parts_of(read(sync_plot(make_board(), "y")), every)
    widths = [float(part.get("width")) for part in parts]
    shares = [lines / 525 for lines in (480, 10, 2, 33)]
    assert [width / sum(widths) for width in widths] == pytest.approx(shares, abs=1e-4)


def test_words_give_counts_and_times(make_board, read, words) -> None:
    """1024x768 at 60 Hz by VESA DMT, a quarter of its dot clock: 336 of its 1,344 pixels, 806 lines."""
    board = make_board(mode="1024x768@60", clock="16250000", check=False)
    written = words(read(sync_plot(board, "x")))
    assert written[:2] == ["One scan line", "336 counts, 20.677 µs, 48.363 kHz; sync negative"]
    assert "time since the first visible count, µs" in written
    assert rows_of(written) == [
        "x counter | counts | time",
        "visible | 0 to 255 | 256 | 15.754 µs",
        "front porch | 256 to 261 | 6 | 0.369 µs",
        "sync | 262 to 295 | 34 | 2.092 µs",
        "back porch | 296 to 335 | 40 | 2.462 µs",
    ]
    written = words(read(sync_plot(board, "y")))
    assert written[:2] == ["One frame", "806 lines, 16.666 ms, 60.004 Hz; sync negative"]
    assert rows_of(written)[2] == "front porch | 768 to 770 | 3 | 0.062 ms"


def test_counts_are_what_the_counters_read(make_board, read, words) -> None:
    """144 is sync and back porch: the x counter is reset where sync begins. Sync and blanking are two counts late.

    The y counter begins at 35 with the first visible line, and so at 0 with the sync's two lines.
    """
    counters = Counters(x_start=144, x_reset=0, blanking_delay=2, y_start=35, y_reset=0)
    board = make_board(counters=counters, check=False)
    assert rows_of(words(read(sync_plot(board, "x"))))[2:] == [
        "front porch | 786 to 1 | 16 | 0.636 µs",
        "sync | 2 to 97 | 96 | 3.813 µs",
        "back porch | 98 to 145 | 48 | 1.907 µs",
    ]
    assert rows_of(words(read(sync_plot(board, "y"))))[1:] == [
        "visible | 35 to 514 | 480 | 15.253 ms",
        "front porch | 515 to 524 | 10 | 0.318 ms",
        "sync | 0 to 1 | 2 | 0.064 ms",
        "back porch | 2 to 34 | 33 | 1.049 ms",
    ]


@pytest.mark.parametrize(
    ("mode", "clock", "down"), [("640x480@60", "25175000", True), ("800x600@60", "40000000", False)]
)
def test_sync_has_its_polarity(make_board, read, every, mode: str, clock: str, down: bool) -> None:
    board: Board = make_board(mode=mode, clock=clock, check=False)
    for plot in (sync_plot(board, "x"), sync_plot(board, "y")):
        (trace,) = every(read(plot), "polyline")
        y = [float(point.split(",")[1]) for point in trace.get("points").split()]
        assert y[0] == y[1] == y[4] == y[5]
        assert y[2] == y[3]
        assert (y[2] > y[0]) is down
