from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.bench.counts import axes_of, hertz_of
from ladderlight.board import Counters


def decoded(axis):
    return {item.name: (item.reading, item.bits) for item in axis.decoded}


def test_counts_of_a_usual_board(board) -> None:
    """640x480@60 counted by its dot clock: 656, 752 and 799, 490, 492 and 524 (VESA DMT, porches added up)."""
    x, y = axes_of(board)
    assert decoded(x) == {
        "first visible": (0, ()),
        "end of visible": (640, (9, 7)),
        "sync start": (656, (9, 7, 4)),
        "sync end": (752, (9, 7, 6, 5, 4)),
        "last": (799, (9, 8, 4, 3, 2, 1, 0)),
        "reset": (0, ()),
    }
    assert decoded(y)["end of visible"] == (480, (8, 7, 6, 5))
    assert decoded(y)["last"] == (524, (9, 3, 2))
    assert (x.positive, y.positive) == (False, False)
    last = x.decoded[4]
    assert (last.hexadecimal, last.binary, last.again) == ("31Fh", "1100011111", None)
    assert x.decoded[2].again == 688  # bits 9, 7 and 4 are in 1010110000b too


def test_delay_starts_and_resets_are_in_the_counts(make_board) -> None:
    board = make_board(counters=Counters(x_start=144, x_reset=0, y_start=35, y_reset=0, blanking_delay=4))
    x, y = axes_of(board)
    assert [item.reading for item in x.decoded] == [148, 788, 4, 100, 799, 0]
    assert [item.reading for item in y.decoded] == [35, 515, 0, 2, 524, 0]
    assert decoded(y)["sync start"] == (0, ())


def test_fewer_bits_suffice_where_higher_ones_are_high_from_the_reset_on(make_board) -> None:
    """From 512 on bit 9 is high, so it says nothing: 600 is found by the bits of 88, the first of which is there."""
    x, _ = axes_of(make_board(counters=Counters(x_start=600, x_reset=512)))
    assert decoded(x)["first visible"] == (600, (6, 4, 3))
    # 640 counts later it has wrapped at 1024 to 216, and 512 + 216 had all of its bits before.
    assert decoded(x)["end of visible"] == (216, None)


def test_frequencies_are_rises_a_second(board) -> None:
    """25.175 MHz halves from bit to bit as far as 800 counts hold whole periods; from there, rises a line."""
    x, y = axes_of(board)
    tones = x.tones | y.tones
    assert tones["x0"] == pytest.approx(25.175e6 / 2)
    assert tones["x4"] == pytest.approx(25.175e6 / 32)
    line = 25.175e6 / 800
    assert tones["x9"] == pytest.approx(line)
    assert tones["x6"] == pytest.approx(6 * line)  # 64 to 127, 192 to 255 and so on up to 704 to 767
    assert tones["y9"] == pytest.approx(line / 525)
    assert hertz_of(board, "x2") == pytest.approx(tones["x2"])
    assert hertz_of(board, "!y8") == pytest.approx(tones["y8"])
    assert hertz_of(board, "hsync") == pytest.approx(line)
    assert hertz_of(board, "bank0") is None
    assert hertz_of(board, "b0") is None
    assert hertz_of(board, "picture.d1") is None


def test_an_exclusive_or_of_both_counters_rises_over_a_frame(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x8", "x9^y0", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    frames = 25.175e6 / 800 / 525
    # x9 is high once in each of 525 lines; in odd lines it is turned, and rises at the line's start as well.
    levels = [(count >> 9 & 1) ^ (line & 1) for line in range(525) for count in range(800)]
    rises = sum(now == 1 and before == 0 for before, now in zip([levels[-1], *levels[:-1]], levels, strict=True))
    assert hertz_of(board, "x9^y0") == pytest.approx(rises * frames)
    assert hertz_of(replace(board, memories=board.memories), "x9^y0") != pytest.approx(hertz_of(board, "x9"))
