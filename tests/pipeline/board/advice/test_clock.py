from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from ladderlight.board import MODES, Counters, Raster
from ladderlight.board.advice.timing import OSCILLATORS, fitting_sources, source_in_words


def sources(mode: str, clock: str, most: int = 3) -> list[str]:
    return [source_in_words(*s) for s in fitting_sources(Raster(mode=MODES[mode], clock=Fraction(clock)), most)]


@pytest.mark.parametrize(
    ("mode", "clock", "first"),
    [
        ("640x480@60", "25e6", "25.175 MHz"),
        ("640x480@60", "13e6", "12.5875 MHz (25.175 MHz halved)"),
        ("800x600@60", "39e6", "40 MHz"),
        ("1024x768@60", "17e6", "16.25 MHz (65 MHz divided by 4)"),
        ("1024x768@60", "66e6", "65 MHz"),
        ("800x600@75", "12e6", "12.375 MHz (49.5 MHz divided by 4)"),
    ],
)
def test_the_nearest_source_comes_first(mode: str, clock: str, first: str) -> None:
    assert sources(mode, clock)[0] == first


def test_all_fit_their_mode() -> None:
    for mode in MODES.values():
        for oscillator, division in fitting_sources(Raster(mode=mode, clock=Fraction(20_000_000)), 20):
            assert oscillator in OSCILLATORS
            assert Raster(mode=mode, clock=oscillator / division).whole


def test_every_mode_has_at_least_one_that_steps_each_pixel() -> None:
    for mode in MODES.values():
        ((oscillator, division),) = fitting_sources(Raster(mode=mode, clock=mode.dot_clock), 1)
        assert Raster(mode=mode, clock=oscillator / division).ratio == 1


def test_of_sources_for_one_ratio_the_one_without_flip_flops_is_given() -> None:
    assert "20 MHz" in sources("800x600@60", "20e6")
    assert not any("40 MHz halved" in text for text in sources("800x600@60", "20e6"))


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


def test_what_is_assumed_of_a_counter_that_does_not_begin_with_the_picture(board, said) -> None:
    (finding,) = said(replace(board, counters=Counters(x_start=144)), "counters")
    assert finding.level == "note"
    assert finding.message == (
        "the x counter is taken to be preset to 144 at the first visible place, so sync begins at 800; "
        "set x_reset = 0 if it is reset to 0 after 799 and sync begins at 0"
    )


def test_a_count_that_differs_is_named(board, said) -> None:
    """800 counts, sync from 656 to 751 of them after the picture begins: at 100 the sync is the same either way."""
    for start, now, then in (
        (144, "sync begins at 800", "799 and sync begins at 0"),
        (100, "the back porch begins at 852", "799 and the back porch begins at 52"),
        (10, "its last count is 809", "799"),
    ):
        (finding,) = said(replace(board, counters=Counters(x_start=start)), "counters")
        assert finding.message == (
            f"the x counter is taken to be preset to {start} at the first visible place, so {now}; "
            f"set x_reset = 0 if it is reset to 0 after {then}"
        )


def test_nothing_is_assumed_where_it_is_said_or_cannot_be_otherwise(board, said) -> None:
    for counters in (Counters(), Counters(x_start=144, x_reset=0, y_start=35, y_reset=0), Counters(x_start=161)):
        assert said(replace(board, counters=counters), "counters") == []
