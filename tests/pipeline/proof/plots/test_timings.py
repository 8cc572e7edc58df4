"""Timing chains against the hold."""

from __future__ import annotations

import pytest

from ladderlight.board import Counters
from ladderlight.board.scanning.timing import REGISTER_SETUP
from ladderlight.proof.plots import timing_plot

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def bars(root, every) -> dict[str, tuple[float, float]]:
    """Start and width of each titled bar."""
    found = {}
    for rect in every(root, "rect"):
        (title,) = list(rect)
        found[title.text] = (float(rect.get("x")), float(rect.get("width")))
    return found


def test_chain_is_to_scale(make_board, memory, read, every, words) -> None:
    """22 ns of counter and 120 ns of access in four counts of 25.175 MHz, 158.89 ns."""
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9), counters=Counters(delay=22e-9))
    root = read(timing_plot(board))
    found = bars(root, every)
    hold = found["held 158.9 ns"][1]
    assert found["address 22.0 ns"] == pytest.approx((0, hold * 22 / 158.888), abs=0.05)
    assert found["access 120.0 ns"] == pytest.approx((hold * 22 / 158.888, hold * 120 / 158.888), abs=0.05)
    assert "16.9 ns left" in words(root)
    assert "picture27C010, direct output: address 22.0 ns, access 120.0 ns" in words(root)


def test_too_late_is_marked(make_board, memory, read, every, words) -> None:
    board = make_board(memory(address=["x1-x8", "y2-y8"], data=DATA, access=120e-9))
    root = read(timing_plot(board))
    late = bars(root, every)["too late"]
    hold = bars(root, every)["held 79.4 ns"][1]
    assert late == pytest.approx((hold, hold * (120 / 79.444 - 1)), abs=0.05)
    assert "40.6 ns too late" in words(root)


def test_register_needs_its_set_up(make_board, memory, read, every, words) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=150e-9, output="register"))
    root = read(timing_plot(board))
    assert f"set-up {REGISTER_SETUP * 1e9:.1f} ns" in bars(root, every)
    assert "3.1 ns too late" in words(root)  # 158.9 - 150 - 12


def test_chain_through_a_map_and_a_hold_beyond_the_plot(make_board, memory, read, every, words) -> None:
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["t0-t5"], access=70e-9, part="28C64"),
        memory("tiles", address=["x2-x4", "y2-y4", "t0-t5"], data=DATA, access=55e-9, part="39SF010A"),
    )
    root = read(timing_plot(board))
    written = words(root)
    assert "held 1271.1 ns, beyond the plot" in written
    assert "33.9 ns left" in written  # 158.9 - 70 - 55
    assert bars(root, every)["address 70.0 ns"][0] == 0
    assert "map 1201.1 ns left; tiles 33.9 ns left" in root.get("aria-label")


def test_unknown_access(make_board, read, words) -> None:
    assert "held 158.9 ns, its access time is not known" in words(read(timing_plot(make_board())))


def test_axis_has_round_steps(make_board, memory, read, words) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9))
    assert words(read(timing_plot(board)))[-9:] == ["0", "20", "40", "60", "80", "100", "120", "140", "160 ns"]
