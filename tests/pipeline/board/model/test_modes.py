from __future__ import annotations

from fractions import Fraction

import pytest

from ladderlight.board import MODES, Axis, Mode


def test_rates_follow_from_totals() -> None:
    mode = MODES["640x480@60"]
    assert mode.horizontal.total == 800
    assert mode.vertical.total == 525
    assert mode.line_rate == Fraction(25_175_000, 800)
    assert mode.frame_rate == Fraction(25_175_000, 800 * 525)


@pytest.mark.parametrize("name", MODES)
def test_names_say_size_and_rate(name: str) -> None:
    mode = MODES[name]
    size, rate = name.split("@")
    assert f"{mode.horizontal.active}x{mode.vertical.active}" == size
    assert abs(float(mode.frame_rate) - int(rate)) < 1


def test_dots_are_square_where_the_mode_has_the_screens_proportions() -> None:
    assert MODES["640x480@60"].dot_aspect == 1
    assert MODES["800x600@60"].dot_aspect == 1
    assert MODES["640x400@70"].dot_aspect == Fraction(5, 6)  # 400 lines stretched over the height of 480


def test_a_mode_of_ones_own() -> None:
    axis = Axis(active=100, front_porch=4, sync=8, back_porch=16, positive=True)
    mode = Mode(name="own", dot_clock=Fraction(1_280_000), horizontal=axis, vertical=axis, screen_aspect=Fraction(1))
    assert mode.line_rate == 10_000
    assert mode.frame_rate == Fraction(10_000, 128)
    assert mode.dot_aspect == 1
