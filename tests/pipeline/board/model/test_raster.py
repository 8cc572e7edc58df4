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


@pytest.mark.parametrize(
    ("clock", "total", "filling"),
    [
        ("10e6", 318, Fraction("254.4")),  # 800 x 10 / 25.175 = 317.78; 640 x 318 / 800 = 254.4
        ("20e6", 636, Fraction("508.8")),  # 635.55
        ("8e6", 254, Fraction("203.2")),  # 254.22
        ("30e6", 953, Fraction("762.4")),  # 953.33
    ],
)
def test_a_clock_in_no_ratio_gets_the_nearest_total_and_only_whole_counts_are_visible(
    clock: str, total: int, filling: Fraction
) -> None:
    at = raster(clock)
    rates = {n: abs(Fraction(clock) / n / at.mode.line_rate - 1) for n in range(total - 9, total + 10)}
    assert at.x.total == total == min(rates, key=rates.__getitem__)
    assert abs(at.deviation) < 0.001
    assert at.filling == filling
    assert at.x.visible == int(filling)
    assert at.x.visible <= at.x.sync_start < at.x.sync_end < at.x.total
    # Front porch, sync and back porch of 16, 96 and 48 of 800, each edge to the nearest count.
    assert at.x.sync_start == round(656 * total / 800)
    assert at.x.sync_end == round(752 * total / 800)
    assert not at.whole
    assert at.frame_rate == Fraction(clock) / (total * 525)


@pytest.mark.parametrize("mode", sorted(MODES))
def test_the_nearest_total_at_any_clock(mode: str) -> None:
    for quarters in range(4, 400, 3):
        at = raster(f"{quarters * 250_000}", mode)
        edges = (0, at.x.visible, at.x.sync_start, at.x.sync_end, at.x.total)
        assert list(edges) == sorted(edges)
        assert 0 <= at.filling - at.x.visible < 1
        if at.ratio.numerator != 1 and at.ratio.denominator != 1:
            off = {total: abs(at.clock / total - at.mode.line_rate) for total in range(at.x.total - 1, at.x.total + 2)}
            assert min(off, key=off.__getitem__) == at.x.total


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
