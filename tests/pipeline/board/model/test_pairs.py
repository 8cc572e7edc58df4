"""Two resistors in one's place: levels, tolerance and dissipation of both parts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.board import Channel, Ladder
from ladderlight.board.ladders.analysis import analyse
from ladderlight.board.model.ladder import Assembly
from ladderlight.board.model.network import Resistor

PARALLEL = Assembly(parts=(680.0, 11000.0), joined="parallel")
SERIES = Assembly(parts=(33.0, 1300.0), joined="series")


def ladder_of(pairs: dict[str, Assembly], **more: float) -> Ladder:
    resistors = {"r0": SERIES.ohms, "r1": PARALLEL.ohms}
    return Ladder(supply=5.0, channels=(Channel(name="red", resistors=resistors, guns=(0,), pairs=pairs),), **more)


def test_resistance_and_mark_of_a_pair() -> None:
    assert PARALLEL.ohms == pytest.approx(680 * 11000 / 11680)
    assert SERIES.ohms == 1333.0
    assert (str(PARALLEL), str(SERIES)) == ("680 || 11k", "33 + 1k3")


def test_each_part_is_a_resistor_of_the_network() -> None:
    ladder = ladder_of({"r0": SERIES, "r1": PARALLEL})
    assert ladder.resistors_of(ladder.channels[0])[:4] == (
        Resistor(a="line r0", b="red:r0", ohms=33.0, name="r0 first"),
        Resistor(a="red:r0", b="red", ohms=1300.0, name="r0 second"),
        Resistor(a="line r1", b="red", ohms=680.0, name="r1 first"),
        Resistor(a="line r1", b="red", ohms=11000.0, name="r1 second"),
    )


def test_levels_and_limits_are_those_of_single_resistors_and_the_spread_is_narrower() -> None:
    """Both parts off by 5 % are a pair off by 5 %; drawn apart, they are seldom off together."""
    pairs = analyse(
        ladder_of({"r0": SERIES, "r1": Assembly(parts=(1200.0, 1200.0), joined="parallel")}, tolerance=0.05)
    )
    single = ladder_of({}, tolerance=0.05)
    (channel,) = single.channels
    alike = analyse(replace(single, channels=(replace(channel, resistors={"r0": 1333.0, "r1": 600.0}),)))
    for one, other in zip(pairs.channels[0].levels, alike.channels[0].levels, strict=True):
        assert (one.volts, one.lowest, one.highest) == pytest.approx((other.volts, other.lowest, other.highest))
    spread, wide = pairs.channels[0].spread, alike.channels[0].spread
    assert spread is not None
    assert wide is not None
    assert spread.high[2] - spread.low[2] < 0.85 * (wide.high[2] - wide.low[2])


def test_dissipation_is_that_of_each_part() -> None:
    """In series each takes its share of the volts, in parallel of the current: r0 alone drops 5 V less its level."""
    analysis = analyse(ladder_of({"r0": SERIES, "r1": PARALLEL}))
    watts = {part.part: part.watts for part in analysis.resistors}
    levels = [level.volts for level in analysis.channels[0].levels]
    current = (5 - levels[1]) / 1333
    assert watts["r0 first"] == pytest.approx(current**2 * 33)
    assert watts["r0 second"] == pytest.approx(current**2 * 1300)
    assert watts["r1 first"] == pytest.approx((5 - levels[2]) ** 2 / 680)
    assert watts["r1 second"] == pytest.approx((5 - levels[2]) ** 2 / 11000)
