"""The analysis of a ladder: steps, errors, currents, power."""

from __future__ import annotations

from dataclasses import asdict, replace
from math import inf, isfinite
from typing import Any

import pytest

from ladderlight.board import Channel, Ladder
from ladderlight.board.ladders.analysis import analyse

RED = {"r0": 1330.0, "r1": 715.0}


def test_levels_and_steps(ladder) -> None:
    red = analyse(ladder(red=RED)).channels[0]
    assert red.lines == ("r0", "r1")
    assert [level.volts for level in red.levels] == pytest.approx([0, 10725 / 44173, 19950 / 44173, 30675 / 44173])
    assert [level.ideal for level in red.levels] == pytest.approx([0, 0.7 / 3, 1.4 / 3, 0.7])
    assert [level.step for level in red.levels] == [
        None,
        *map(pytest.approx, (10725 / 44173, 9225 / 44173, 10725 / 44173)),
    ]
    assert red.max_error == pytest.approx(1.4 / 3 - 19950 / 44173)
    assert red.levels[2].error == pytest.approx(19950 / 44173 - 1.4 / 3)
    assert (red.black, red.white) == pytest.approx((0.0, 30675 / 44173))
    assert red.white_within
    assert red.monotonic
    assert red.surely_monotonic


def test_nonlinearity_is_in_steps_of_the_channel(ladder) -> None:
    """A step is a third of 30675/44173 V, so 10225/44173 V."""
    red = analyse(ladder(red=RED)).channels[0]
    assert [level.dnl for level in red.levels[1:]] == pytest.approx(
        [10725 / 10225 - 1, 9225 / 10225 - 1, 10725 / 10225 - 1]
    )
    assert [level.inl for level in red.levels] == pytest.approx([0, 10725 / 10225 - 1, 19950 / 10225 - 2, 0], abs=1e-12)
    assert red.max_dnl == pytest.approx(1 - 9225 / 10225)
    assert red.max_inl == pytest.approx(10725 / 10225 - 1)


def test_codes_count_by_weight_not_by_order(ladder) -> None:
    red = analyse(ladder(red={"r1": 715.0, "r0": 1330.0})).channels[0]
    assert red.lines == ("r0", "r1")
    assert red.monotonic


def test_out_of_order(ladder) -> None:
    red = analyse(ladder(red={"a": 2000.0, "b": 1900.0, "c": 1330.0})).channels[0]
    assert not red.monotonic
    assert not red.surely_monotonic
    assert red.levels[4].step < 0


def test_five_per_cent(ladder) -> None:
    red = analyse(replace(ladder(red=RED), tolerance=0.05)).channels[0]
    limits = [(round(level.lowest, 4), round(level.highest, 4)) for level in red.levels]
    assert limits == [(0, 0), (0.2307, 0.256), (0.4309, 0.4742), (0.6658, 0.7257)]
    assert red.spread is not None
    assert red.spread.samples == 2000
    assert analyse(ladder(red=RED)).channels[0].spread is None


def test_tolerance_can_cost_the_order(ladder) -> None:
    """MSB of 1000 ohm over 2000 and 2100: in order as marked, not at every corner of 5 %."""
    exact = ladder(red={"a": 2100.0, "b": 2060.0, "c": 1000.0})
    red = analyse(replace(exact, tolerance=0.05)).channels[0]
    assert red.monotonic
    assert not red.surely_monotonic


def test_without_a_monitor(ladder) -> None:
    red = analyse(ladder(red=RED)).channels[0]
    assert [level.open_volts for level in red.levels] == pytest.approx([0, 715 / 409, 1330 / 409, 5])


def test_without_a_monitor_and_with_floating_lows(ladder) -> None:
    red = analyse(replace(ladder(red=RED), driver_low=inf)).channels[0]
    assert red.levels[0].open_volts is None
    assert [level.open_volts for level in red.levels[1:]] == pytest.approx([5, 5, 5])
    assert red.levels[1].volts == pytest.approx(75 / 281)


def shared(ladder, **own: float):
    channels = {name: {"i": 1300.0, name[0]: ohms} for name, ohms in own.items()}
    return replace(ladder(**channels), driver_high=50.0, driver_low=50.0)


def test_without_a_monitor_a_shared_line_reaches_all_its_channels(ladder) -> None:
    """By hand: the shared driver sees three branches of 1300 + 620 + 50 ohm to ground, 1970/3 ohm together."""
    found = analyse(shared(ladder, red=620.0, green=620.0, blue=620.0))
    node = 5 * (1970 / 3) / (50 + 1970 / 3)
    for channel in found.channels:
        assert channel.lines == ("i", channel.name[0])
        assert channel.levels[1].open_volts == pytest.approx(node * 670 / 1970)
        assert round(channel.levels[1].open_volts, 4) == 1.5802
        assert channel.open_white == pytest.approx(5)


def test_floating_lows_leave_a_channel_to_the_lines_that_are_high(ladder) -> None:
    found = analyse(replace(shared(ladder, red=620.0, green=470.0), driver_low=inf)).channels[0]
    assert [level.open_volts for level in found.levels] == [None, *(pytest.approx(5) for _ in range(3))]


def test_raised_black(ladder) -> None:
    red = analyse(replace(ladder(red=RED), low_volts=0.4)).channels[0]
    assert red.black == pytest.approx(0.4 * 30675 / 44173 / 5)


def test_currents(ladder) -> None:
    """A driver sources most when it alone is high, and sinks most when it alone is low."""
    analysis = analyse(ladder(red=RED, green={"g0": 470.0}))
    assert [driver.line for driver in analysis.drivers] == ["r0", "r1", "g0"]
    r0, r1, g0 = analysis.drivers
    assert r0.source == pytest.approx((5 - 10725 / 44173) / 1330)
    assert r1.source == pytest.approx((5 - 19950 / 44173) / 715)
    assert r0.sink == pytest.approx(19950 / 44173 / 1330)
    assert g0.source == pytest.approx(5 / 545)
    assert g0.sink == pytest.approx(0, abs=1e-15)
    white = (5 - 30675 / 44173) * (1 / 1330 + 1 / 715)
    assert analysis.supply_current == pytest.approx(white + 5 / 545)


def test_power(ladder) -> None:
    power = {part.part: part for part in analyse(ladder(red=RED)).resistors}
    assert set(power) == {"r0", "r1"}
    assert power["r1"].watts == pytest.approx((5 - 19950 / 44173) ** 2 / 715)
    assert power["r1"].ohms == 715.0


def test_r2r_names_its_parts() -> None:
    ladder = Ladder(
        supply=5.0,
        channels=(Channel(name="red", resistors={"a": 660.0, "b": 660.0, "c": 660.0}, guns=(0,), r2r=330.0),),
    )
    analysis = analyse(ladder)
    assert [(part.part, part.ohms) for part in analysis.resistors] == [
        ("a", 660.0),
        ("b", 660.0),
        ("c", 660.0),
        ("rail 1", 330.0),
        ("rail 2", 330.0),
        ("termination", 660.0),
    ]
    assert analysis.channels[0].max_dnl == pytest.approx(0, abs=1e-12)


def test_crosstalk_of_a_shared_driver(ladder) -> None:
    shared = replace(
        ladder(red={"i": 1330.0, "r": 715.0}, green={"i": 1330.0, "g": 715.0}), driver_high=50.0, driver_low=50.0
    )
    red = analyse(shared).channels[0]
    assert red.levels[1].crosstalk > 1e-4  # code 1 is the shared line
    assert red.white == pytest.approx(red.levels[3].volts + red.levels[3].crosstalk)
    assert all(level.crosstalk == 0 for level in analyse(ladder(red=RED, green={"g": 715.0})).channels[0].levels)


def test_colours_follow_the_palette(ladder) -> None:
    assert [level.srgb for level in analyse(ladder(red=RED)).channels[0].levels] == [0, 88, 165, 253]
    tube = replace(ladder(red=RED), response="tube")
    assert analyse(tube).channels[0].levels[1].srgb != 88


def test_single_step(ladder) -> None:
    red = analyse(ladder(red={"r": 470.0})).channels[0]
    assert red.max_dnl == 0
    assert red.levels[1].volts == pytest.approx(5 * 75 / 545)


def test_values_are_plain(ladder) -> None:
    """Everything can go into a JSON document as it is."""

    def leaves(value: Any) -> list[Any]:
        if isinstance(value, dict):
            return [leaf for item in value.values() for leaf in leaves(item)]
        return [leaf for item in value for leaf in leaves(item)] if isinstance(value, tuple | list) else [value]

    found = leaves(asdict(analyse(replace(ladder(red=RED), tolerance=0.05, driver_low=inf))))
    assert {type(leaf) for leaf in found} <= {float, int, str, bool, type(None)}
    assert all(isfinite(leaf) for leaf in found if isinstance(leaf, float))
