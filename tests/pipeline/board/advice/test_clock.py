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
    assert (
        "25 MHz with 800 counts a line (640 visible) gives a line rate of 31.25 kHz (-0.70% from 640x4"
        in finding.message
    )
    assert "use 25.175 MHz, 12.5875 MHz (25.175 MHz halved) or 50.35 MHz" in finding.message
    assert "tube monitor may be damaged" in finding.message


def test_a_clock_that_counts_whole_by_chance(clocked, said) -> None:
    (finding,) = said(clocked("20000000"), "clock")
    assert finding.level == "note"
    assert (
        "636 counts a line (508 visible of the 508.8 that would fill the screen) give 31.44654 kHz (-0.07% from "
        "640x480@60), within tolerance; "
    ) in finding.message


def test_a_clock_that_no_simple_ratio_comes_near(clocked, said) -> None:
    (finding,) = said(clocked("10000000"), "clock")
    assert finding.level == "note"
    assert "318 counts a line (254 visible of the 254.4 that would fill the screen) give 31.44654 kHz (-0.07%" in (
        finding.message
    )


def test_a_clock_that_no_monitor_would_follow(make_board, memory, said) -> None:
    board = make_board(memory(address=["x0-x1", "y2-y9"], data=DATA), clock="172e3")  # 5.47 counts a line
    (finding,) = said(board, "clock")
    assert finding.level == "error"
    assert "172 kHz with 5 counts a line (4 visible) gives a line rate of 34.4 kHz (+9.31%" in finding.message
