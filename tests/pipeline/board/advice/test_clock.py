from __future__ import annotations

import pytest

ADDRESS = ["x1-x7", "y2-y9"]
DATA = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.fixture
def clocked(make_board, memory):
    """Make a board with a clock; its address has only bits that every clock counts."""

    def make(clock: str, mode: str = "640x480@60"):
        return make_board(memory(address=ADDRESS, data=DATA), clock=clock, mode=mode)

    return make


@pytest.mark.parametrize("clock", ["25175000", "12587500", "25200000", "25100000"])
def test_clocks_that_fit_are_passed_over(clocked, said, clock: str) -> None:
    assert said(clocked(clock), "clock") == []


def test_a_clock_just_outside_the_tolerance(clocked, said) -> None:
    (finding,) = said(clocked("25000000"), "clock")
    assert finding.level == "caution"
    assert "31.25 kHz (-0.70% from 640x480@60)" in finding.message
    assert "use 25.175 MHz, 12.5875 MHz (25.175 MHz halved) or 50.35 MHz" in finding.message
    assert "tube monitor may be damaged" in finding.message


def test_a_clock_that_counts_whole_by_chance(clocked, said) -> None:
    (finding,) = said(clocked("20000000"), "clock")
    assert finding.level == "note"
    assert "635 counts a line give 31.49606 kHz (+0.09% from 640x480@60)" in finding.message


def test_a_clock_that_no_monitor_would_follow(make_board, memory, said) -> None:
    board = make_board(memory(address=["x0-x3", "y2-y9"], data=DATA), clock="1000000")
    (finding,) = said(board, "clock")
    assert finding.level == "error"
    assert "+5.93%" in finding.message
