"""Timing chains against the hold."""

from __future__ import annotations

import pytest

from ladderlight.board import Counters
from ladderlight.board.scanning.timing import REGISTER_SETUP
from ladderlight.proof.plots.drawing import WARN, WIDTH
from ladderlight.proof.plots.timings import timing_plot

DATA = ["b0-b1", "g0-g1", "r0-r1"]
HOLD = 4 / 25.175e6


def bars(root, every) -> dict[str, tuple[float, float]]:
    """Start and width of each titled bar."""
    titled = [rect for rect in every(root, "rect") if len(rect)]
    return {rect[0].text: (float(rect.get("x")), float(rect.get("width"))) for rect in titled}


def end_of_hold(root, every) -> float:
    """Where the upright line stands."""
    return next(float(line.get("x1")) for line in every(root, "line") if line.get("stroke-width") == "2")


def test_a_direct_output_is_undefined_for_its_access(make_board, memory, read, every, words) -> None:
    """22 ns of counter and 120 ns of access in four counts of 25.175 MHz, 158.89 ns."""
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9), counters=Counters(delay=22e-9))
    root = read(timing_plot(board))
    found, hold = bars(root, every), end_of_hold(root, every)
    assert found["old word 22.0 ns"] == pytest.approx((0, hold * 22e-9 / HOLD), abs=0.05)
    assert found["undefined 120.0 ns"] == pytest.approx((hold * 22e-9 / HOLD, hold * 120e-9 / HOLD), abs=0.05)
    assert found["valid 16.9 ns"] == pytest.approx((hold * 142e-9 / HOLD, hold * (1 - 142e-9 / HOLD)), abs=0.05)
    assert words(root)[:2] == ["picture: 27C010, direct output", "undefined 120.0 of 158.9 ns"]
    assert {"old word 22.0 ns", "undefined 120.0 ns", "valid 16.9 ns"} <= set(words(root))
    assert root.get("aria-label") == "Timing: picture undefined 120.0 of 158.9 ns"


def test_a_word_that_is_never_valid_is_marked(make_board, memory, read, every, words) -> None:
    board = make_board(memory(address=["x1-x8", "y2-y8"], data=DATA, access=120e-9))
    root = read(timing_plot(board))
    hold = end_of_hold(root, every)
    assert bars(root, every) == {"undefined 120.0 ns": pytest.approx((0, hold * 120 / 79.444), abs=0.05)}
    assert words(root)[1] == "undefined 79.4 of 79.4 ns: never valid"
    assert f"fill:{WARN}" in every(root, "text")[1].get("style")


def test_register_needs_its_set_up(make_board, memory, read, every, words) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=150e-9, output="register"))
    root = read(timing_plot(board))
    assert f"set-up {REGISTER_SETUP * 1e9:.1f} ns" in bars(root, every)
    assert words(root)[1] == "3.1 ns too late for 158.9 ns"  # 158.9 - 150 - 12
    assert bars(root, every)["set-up 12.0 ns"][0] < end_of_hold(root, every) < WIDTH
    quick = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9, output="register"))
    assert words(read(timing_plot(quick)))[1] == "26.9 of 158.9 ns left"


def test_chain_through_a_map_and_a_hold_beyond_the_plot(make_board, memory, read, every, words) -> None:
    """Tiles of eight words: one in eight waits for the map, 70 + 55 ns; the others have their access time only."""
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["t0-t5"], access=70e-9, part="28C64"),
        memory("tiles", address=["x2-x4", "y2-y4", "t0-t5"], data=DATA, access=55e-9, part="39SF010A"),
    )
    root = read(timing_plot(board))
    written = words(root)
    assert "undefined 70.0 of 1271.1 ns" in written
    assert "undefined 125.0 of 158.9 ns in one word of 8, else 55.0" in written
    assert bars(root, every)["valid 1201.1 ns"][1] == pytest.approx(WIDTH - bars(root, every)["undefined 70.0 ns"][1])


def test_unknown_access(make_board, read, words) -> None:
    assert "held 158.9 ns; its access time is not given" in words(read(timing_plot(make_board())))


def test_axis_has_round_steps_and_a_title(make_board, memory, read, words) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9))
    assert words(read(timing_plot(board)))[-10:] == [
        "0", "20", "40", "60", "80", "100", "120", "140", "160", "time since the clock edge, ns"
    ]  # fmt: skip
