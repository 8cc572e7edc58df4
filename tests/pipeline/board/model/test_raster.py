"""Modes, rasters, and what counters read, against counters that are stepped one count at a time."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import islice

import pytest

from ladderlight.board import MODES, Axis, Mode, Raster
from ladderlight.board.model.raster import Counter


def test_rates_follow_from_totals() -> None:
    mode = MODES["640x480@60"]
    assert mode.horizontal.total == 800
    assert mode.vertical.total == 525
    assert mode.line_rate == Fraction(25_175_000, 800)
    assert Raster(mode=mode, clock=mode.dot_clock).frame_rate == Fraction(25_175_000, 800 * 525)


@pytest.mark.parametrize("name", MODES)
def test_names_say_size_and_rate(name: str) -> None:
    mode = MODES[name]
    size, rate = name.split("@")
    assert f"{mode.horizontal.active}x{mode.vertical.active}" == size
    assert abs(float(mode.line_rate / mode.vertical.total) - int(rate)) < 1


def test_dots_are_square_where_the_mode_has_the_screens_proportions() -> None:
    assert MODES["640x480@60"].dot_aspect == 1
    assert MODES["800x600@60"].dot_aspect == 1
    assert MODES["640x400@70"].dot_aspect == Fraction(5, 6)  # 400 lines stretched over the height of 480


def test_a_mode_of_ones_own() -> None:
    axis = Axis(active=100, front_porch=4, sync=8, back_porch=16, positive=True)
    mode = Mode(name="own", dot_clock=Fraction(1_280_000), horizontal=axis, vertical=axis, screen_aspect=Fraction(1))
    assert mode.line_rate == 10_000
    assert Raster(mode=mode, clock=mode.dot_clock).frame_rate == Fraction(10_000, 128)
    assert mode.dot_aspect == 1


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


X = Raster(mode=MODES["640x480@60"], clock=Fraction(25_175_000)).x
"""640 visible, sync from 656 to 751, 800 in all."""


def stepped(start: int, clear_after: int, load: int, bits: int = 10) -> Iterator[int]:
    """Step a synchronous counter of some bits from the first visible count on; after one count it loads another."""
    value = start
    while True:
        yield value
        value = load if value == clear_after else (value + 1) % 2**bits


@pytest.mark.parametrize(
    ("start", "reset", "clear_after", "wired", "bits"),
    [
        pytest.param(0, None, 799, 0, 10, id="reset where the picture begins"),
        pytest.param(144, None, 943, 0, 10, id="preset"),
        pytest.param(144, 0, 799, 0, 10, id="reset where sync begins"),
        pytest.param(160, 0, 799, 0, 10, id="reset where the front porch begins"),
        pytest.param(368, 224, 1023, 0, 10, id="preset where sync begins, so that it is reset as it wraps"),
        pytest.param(140, 1020, 795, 0, 10, id="wraps before the picture"),
        pytest.param(1020, None, 795, 0, 10, id="wraps in the picture"),
        pytest.param(1020, None, 1819, 11, 11, id="wider, does not wrap"),
    ],
)
def test_it_reads_what_a_counter_that_is_stepped_does(
    start: int, reset: int | None, clear_after: int, wired: int, bits: int
) -> None:
    counter = Counter(start=start, reset=reset, counts=X, wired=wired)
    assert counter.bits == bits
    load = start if reset is None else reset
    two_lines = list(islice(stepped(start, clear_after, load, bits), 1600))
    assert counter.read(range(1600)).tolist() == two_lines
    assert counter.read(range(-800, 0)).tolist() == two_lines[:800]
    assert (counter.last, counter.reset_to) == (clear_after, load)
    assert counter.sync_start == two_lines[656]
    assert counter.sync_end == two_lines[752]
    assert counter.blanking_start == two_lines[640]
    assert counter.blanking_end == two_lines[800] == start


def test_delayed_sync_and_blanking_are_as_many_counts_later() -> None:
    counter = Counter(start=144, reset=0, counts=X, delay=4)
    assert (counter.start, counter.last, counter.reset_to) == (144, 799, 0)
    assert (counter.blanking_start, counter.sync_start, counter.sync_end, counter.blanking_end) == (788, 4, 100, 148)
