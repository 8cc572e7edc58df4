from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from ladderlight.bench.connector import readings_of, shown_share, steps_of, words_for
from ladderlight.board import Channel, Ladder, Packing

TWO_BITS = Channel(name="grey", resistors={"v0": 1500.0, "v1": 680.0}, guns=(0,))


def make(make_board, memory, ladder, **more):
    return make_board(memory(address=["x3-x9", "y3-y8"], data=["v0-v1"], part="27C256", **more), ladder=ladder)


def test_levels_with_and_without_the_monitor(make_board, memory) -> None:
    """1500 and 680 ohm from 5 V into 75 ohm: 170/789, 125/263 and 545/789 V; 1.560, 3.440, 5 V without (Millman)."""
    board = make(make_board, memory, Ladder(supply=5.0, channels=(TWO_BITS,), tolerance=0.05))
    found = {reading.high: reading for reading in readings_of(board)}
    assert list(found) == [(), ("v0",), ("v1",), ("v0", "v1")]
    nominal = [reading.loaded.nominal for reading in found.values()]
    assert nominal == pytest.approx([0, 170 / 789, 125 / 263, 545 / 789])
    assert [reading.unloaded.nominal for reading in found.values()] == pytest.approx([0, 1.560, 3.440, 5], abs=5e-4)
    assert f"{found[()].loaded.lowest:.3f}" == f"{found[()].unloaded.lowest:.3f}" == "0.000"  # never -0.000
    # 5 % resistors: 0.2046-0.2273, 0.4537-0.4988, 0.6622-0.7219 V, at the corners of the tolerance.
    limits = [(reading.loaded.lowest, reading.loaded.highest) for reading in found.values()][1:]
    assert [limit for pair in limits for limit in pair] == pytest.approx(
        [0.2046, 0.2273, 0.4537, 0.4988, 0.6622, 0.7219], abs=5e-5
    )
    assert found[("v0", "v1")].currents["v1"] == pytest.approx((5 - 545 / 789) / 680)
    assert found[("v0",)].at == "J1 pin 1 (red)"


def test_no_tolerance_is_read_as_5_per_cent(make_board, memory) -> None:
    stated = make(make_board, memory, Ladder(supply=5.0, channels=(TWO_BITS,), tolerance=0.05))
    unstated = make(make_board, memory, Ladder(supply=5.0, channels=(TWO_BITS,)))
    assert readings_of(stated) == readings_of(unstated)


def test_an_output_that_nothing_holds_floats(make_board, memory) -> None:
    """With low outputs that float, and no monitor, nothing pulls the output anywhere."""
    board = make(make_board, memory, Ladder(supply=5.0, channels=(TWO_BITS,), driver_low=inf))
    found = {reading.high: reading for reading in readings_of(board)}
    assert found[()].unloaded is None
    assert found[()].loaded.nominal == 0
    # A low output that floats leaves the other alone with the load: 0.238095 V.
    assert found[("v0",)].loaded.nominal == pytest.approx(0.238095, abs=1e-6)
    assert found[("v0",)].unloaded.nominal == pytest.approx(5)


def test_a_shared_line_is_read_at_each_output_that_it_feeds(make_board, memory) -> None:
    channels = tuple(
        Channel(name=name, resistors={"i": 1500.0, line: 680.0}, guns=(gun,))
        for gun, (name, line) in enumerate((("red", "r"), ("green", "g"), ("blue", "b")))
    )
    board = make_board(
        memory(address=["x3-x9", "y3-y8"], data=["i", "r", "g", "b"], part="27C256"),
        ladder=Ladder(supply=5.0, channels=channels),
    )
    steps = {high: [reading.channel for reading in readings] for high, readings in steps_of(readings_of(board))}
    assert steps[("i",)] == ["red", "green", "blue"]
    assert steps[("g",)] == ["green"]
    assert steps[("i", "r", "g", "b")] == ["red", "green", "blue"]


def test_words_repeat_a_pixel_and_leave_unused_pins_low(make_board, memory) -> None:
    ladder = Ladder(supply=5.0, channels=(TWO_BITS,))
    plain = make_board(memory(address=["x3-x9", "y3-y8"], data=["-", "v1", "v0"], part="27C256"), ladder=ladder)
    assert words_for(plain, ("v1",)) == {"picture": 0b010}
    packed = make(make_board, memory, ladder, packing=Packing(pixels=4), output="register")
    assert words_for(packed, ("v1",)) == {"picture": 0b10101010}


def test_one_line_alone_is_all_lines(make_board, memory, ladder) -> None:
    board = make_board(memory(address=["x3-x9", "y3-y8"], data=["v0"], part="27C256"), ladder=ladder(red={"v0": 460.0}))
    assert [reading.high for reading in readings_of(board)] == [(), ("v0",)]


def test_the_share_of_time_that_is_shown(board) -> None:
    """640 of 800 counts and 480 of 525 lines (VESA DMT)."""
    assert shown_share(replace(board)) == pytest.approx(640 * 480 / 800 / 525)
