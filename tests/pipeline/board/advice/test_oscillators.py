from __future__ import annotations

from fractions import Fraction

import pytest

from ladderlight.board import MODES, Raster
from ladderlight.board.advice.oscillators import OSCILLATORS, fitting_sources


def sources(mode: str, clock: str, most: int = 3) -> list[str]:
    return [str(s) for s in fitting_sources(Raster(mode=MODES[mode], clock=Fraction(clock)), most)]


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
        for source in fitting_sources(Raster(mode=mode, clock=Fraction(20_000_000)), 20):
            assert source.oscillator in OSCILLATORS
            assert Raster(mode=mode, clock=source.clock).whole


def test_every_mode_has_at_least_one_that_steps_each_pixel() -> None:
    for mode in MODES.values():
        (nearest,) = fitting_sources(Raster(mode=mode, clock=mode.dot_clock), 1)
        assert Raster(mode=mode, clock=nearest.clock).ratio == 1


def test_of_sources_for_one_ratio_the_one_without_flip_flops_is_given() -> None:
    assert "20 MHz" in sources("800x600@60", "20e6")
    assert not any("40 MHz halved" in text for text in sources("800x600@60", "20e6"))
