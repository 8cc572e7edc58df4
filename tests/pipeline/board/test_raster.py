from __future__ import annotations

from fractions import Fraction

import pytest

from ladderlight.board import MODES, Raster


def raster(clock: str, mode: str = "640x480@60") -> Raster:
    return Raster(mode=MODES[mode], clock=Fraction(clock))


def test_the_dot_clock_counts_pixels() -> None:
    at = raster("25.175e6")
    assert at.ratio == 1
    assert (at.x.visible, at.x.sync_start, at.x.sync_end, at.x.total) == (640, 656, 752, 800)
    assert (at.y.visible, at.y.sync_start, at.y.sync_end, at.y.total) == (480, 490, 492, 525)
    assert at.whole
    assert at.deviation == 0


@pytest.mark.parametrize(
    ("clock", "ratio", "visible", "total"),
    [
        ("12.5875e6", Fraction(1, 2), 320, 400),
        ("50.35e6", Fraction(2), 1280, 1600),
        ("10.07e6", Fraction(2, 5), 256, 320),
    ],
)
def test_exact_ratios_are_taken_as_they_are(clock: str, ratio: Fraction, visible: int, total: int) -> None:
    at = raster(clock)
    assert at.ratio == ratio
    assert (at.x.visible, at.x.total) == (visible, total)
    assert at.whole


def test_a_clock_within_tolerance_counts_like_the_one_that_is_meant() -> None:
    at = raster("25.2e6")  # 0.1 % fast
    assert at.ratio == 1
    assert at.whole
    assert at.deviation == pytest.approx(25.2 / 25.175 - 1)
    assert at.line_rate == Fraction(25_200_000, 800)


def test_a_clock_beyond_tolerance_still_counts_like_the_one_that_is_meant_but_is_not_whole() -> None:
    at = raster("25e6")  # 0.7 % slow
    assert at.ratio == 1
    assert not at.whole
    assert at.deviation == pytest.approx(-0.00695, abs=1e-5)


def test_a_clock_far_from_any_simple_ratio_gets_the_nearest_whole_counts() -> None:
    at = raster("20e6")
    assert at.x.total == 635  # 800 x 20 / 25.175 = 635.55
    assert at.x.visible == 508
    assert not at.whole
    assert at.frame_rate == Fraction(20_000_000, 635 * 525)


def test_fitting_clocks_are_whole_and_the_nearest_come_first() -> None:
    clocks = raster("13e6").fitting_clocks(3)
    assert clocks == [Fraction(12_587_500), Fraction(6_293_750), Fraction(5_035_000)]
    for clock in clocks:
        assert raster(str(clock)).whole
    distances = [abs(clock / Fraction(13_000_000) - 1) for clock in clocks]
    assert distances == sorted(distances)


def test_the_y_counter_counts_lines_at_any_clock() -> None:
    assert raster("16.25e6", "1024x768@60").y.total == 806
    assert raster("65e6", "1024x768@60").y == raster("16.25e6", "1024x768@60").y
