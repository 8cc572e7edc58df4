"""Worst case and spread: against every corner, and against the draw's own arithmetic."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from ladderlight.board import Channel, Ladder
from ladderlight.board.ladders.tolerance import gun_limits, levels, spread, worst_levels, worst_steps
from ladderlight.board.model.ladder import LOAD, all_states
from ladderlight.board.model.network import Network


def network_of(ladder: Ladder) -> tuple[Network, np.ndarray, np.ndarray]:
    """The network of the first group, the tolerance of its resistors, and all states."""
    channels, lines = next(ladder.groups())
    network = ladder.network(channels, lines)
    tolerance = np.array([0.0 if r.name == LOAD else ladder.tolerance for r in network.resistors])
    return network, tolerance, all_states(len(lines))


def corners(network: Network, tolerance: np.ndarray) -> np.ndarray:
    ends = [(1 - t, 1 + t) if t else (1.0,) for t in tolerance]
    return network.ohms * np.array(list(product(*ends)))


def random_ladder(rng: np.random.Generator) -> Ladder:
    kind = rng.choice(["weighted", "r2r", "shared"])
    ohms = [float(value) for value in rng.uniform(200, 5000, 6)]
    high = float(rng.choice([0.0, 60.0]))
    guns = {"red": (0,), "green": (1,)}
    if kind == "weighted":
        channels = (Channel(name="red", resistors=dict(zip("abcd", ohms, strict=False)), guns=(0,)),)
    elif kind == "r2r":
        channels = (Channel(name="red", resistors=dict.fromkeys("abcd", 2.1 * ohms[0]), guns=(0,), r2r=ohms[0]),)
    else:
        channels = tuple(
            Channel(name=name, resistors={"i": ohms[gun], name: ohms[gun + 2]}, guns=guns[name])
            for gun, name in enumerate(guns)
        )
    return Ladder(
        supply=5.0,
        channels=channels,
        driver_high=high,
        driver_low=float(rng.choice([high, 30.0])),
        tolerance=float(rng.choice([0.01, 0.05, 0.2])),
    )


@pytest.mark.parametrize("seed", range(40))
def test_worst_levels_are_those_of_the_worst_corner(seed: int) -> None:
    network, tolerance, states = network_of(random_ladder(np.random.default_rng(seed)))
    all_volts = network.solve(states, corners(network, tolerance)[:, None, :]).at("red")
    low, high = worst_levels(network, "red", states, tolerance)
    assert low == pytest.approx(all_volts.min(axis=0), rel=1e-12, abs=1e-15)
    assert high == pytest.approx(all_volts.max(axis=0), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("seed", range(40))
def test_worst_steps_are_those_of_the_worst_corner(seed: int) -> None:
    network, tolerance, states = network_of(random_ladder(np.random.default_rng(seed)))
    all_volts = network.solve(states, corners(network, tolerance)[:, None, :]).at("red")
    smallest = worst_steps(network, "red", states, tolerance)
    assert smallest == pytest.approx(np.diff(all_volts, axis=1).min(axis=0), rel=1e-9, abs=1e-12)


def test_exact_resistors_do_not_spread() -> None:
    ladder = Ladder(supply=5.0, channels=(Channel(name="red", resistors={"a": 1330.0, "b": 715.0}, guns=(0,)),))
    network, tolerance, states = network_of(ladder)
    low, high = worst_levels(network, "red", states, tolerance)
    assert low.tolist() == high.tolist()
    assert low == pytest.approx([0, 10725 / 44173, 19950 / 44173, 30675 / 44173])


@pytest.mark.parametrize("low", [50.0, 20.0])
def test_superposition_gives_what_the_network_gives(low: float) -> None:
    ladder = Ladder(
        supply=5.0,
        low_volts=0.2,
        driver_high=50.0,
        driver_low=low,
        channels=(Channel(name="red", resistors=dict.fromkeys("abc", 800.0), guns=(0,), r2r=390.0),),
    )
    network, _, states = network_of(ladder)
    ohms = network.ohms * np.array([[1.0], [1.05]])
    assert levels(network, "red", states, ohms) == pytest.approx(
        network.solve(states, ohms[:, None, :]).at("red"), rel=1e-12
    )


def test_spread_is_within_the_worst_case_and_repeats() -> None:
    ladder = Ladder(
        supply=5.0, tolerance=0.06, channels=(Channel(name="red", resistors={"a": 1330.0, "b": 715.0}, guns=(0,)),)
    )
    network, tolerance, states = network_of(ladder)
    low, high = worst_levels(network, "red", states, tolerance)
    one = spread(network, "red", states, tolerance, samples=4000, seed=7)
    assert one == spread(network, "red", states, tolerance, samples=4000, seed=7)
    assert one != spread(network, "red", states, tolerance, samples=4000, seed=8)
    for code in (1, 2, 3):
        assert low[code] < one.low[code] < one.middle[code] < one.high[code] < high[code]
        assert one.middle[code] == pytest.approx([0, 10725 / 44173, 19950 / 44173, 30675 / 44173][code], rel=0.005)
    assert one.monotonic == 1.0
    assert 0.98 < one.white_within < 1.0  # the worst corner, 0.6603 V, is just outside


def test_spread_of_one_resistor_has_the_percentiles_of_an_even_draw() -> None:
    """One resistor drawn evenly within 10 %: the 5th percentile of the level is the level at +9 %."""
    ladder = Ladder(supply=5.0, tolerance=0.1, channels=(Channel(name="red", resistors={"a": 500.0}, guns=(0,)),))
    network, tolerance, states = network_of(ladder)
    drawn = spread(network, "red", states, tolerance, samples=20_000, seed=1)
    assert drawn.low[1] == pytest.approx(5 * 75 / (75 + 545), rel=2e-3)
    assert drawn.high[1] == pytest.approx(5 * 75 / (75 + 455), rel=2e-3)


def test_spread_counts_ladders_out_of_order() -> None:
    """Two equal resistors: half of the ladders have the second larger than the first."""
    ladder = Ladder(
        supply=5.0, tolerance=0.06, channels=(Channel(name="red", resistors={"a": 999.9, "b": 1000.0}, guns=(0,)),)
    )
    network, tolerance, states = network_of(ladder)
    assert spread(network, "red", states, tolerance, samples=4000, seed=3).monotonic == pytest.approx(0.5, abs=0.03)


def test_limits_of_guns_are_those_of_the_published_ladder() -> None:
    """1500 and 680 ohm of 5 % from 5 V into 75 ohm: by hand, each resistor at the end that raises or lowers a level."""
    ladder = Ladder(
        supply=5.0,
        channels=(
            Channel(name="red", resistors={"r0": 1500.0, "r1": 680.0}, guns=(0,)),
            Channel(name="blue", resistors={"b0": 470.0}, guns=(2,)),
        ),
        tolerance=0.05,
    )
    low, high = gun_limits(ladder, ("b0", "r1", "r0"))
    # The lines of a code are given in another order than the ladder's: code 4 is r0, 2 is r1, 6 both.
    assert low[[4, 2, 6], 0] == pytest.approx([0.2046, 0.4537, 0.6622], abs=5e-5)
    assert high[[4, 2, 6], 0] == pytest.approx([0.2273, 0.4988, 0.7219], abs=5e-5)
    assert low[1::2, 2] == pytest.approx(5 * 75 / (75 + 470 * 1.05))
    assert (low[:, 1] == 0).all()
    assert (high[:, 1] == 0).all()


def test_limits_of_guns_that_share_a_line_are_the_worst_of_all_corners() -> None:
    ladder = Ladder(
        supply=5.0,
        channels=(
            Channel(name="red", resistors={"i": 1800.0, "r": 620.0}, guns=(0,)),
            Channel(name="green", resistors={"i": 2200.0, "g": 560.0}, guns=(1,)),
        ),
        driver_high=40.0,
        driver_low=40.0,
        tolerance=0.1,
    )
    network, tolerance, states = network_of(ladder)
    _, lines = next(ladder.groups())
    limits = gun_limits(ladder, lines)
    for gun, channel in enumerate(("red", "green")):
        every = levels(network, channel, states, corners(network, tolerance))
        assert limits[0][:, gun] == pytest.approx(every.min(axis=0), abs=1e-9)
        assert limits[1][:, gun] == pytest.approx(every.max(axis=0), abs=1e-9)


def test_exact_resistors_and_very_many_lines_have_no_limits() -> None:
    few = Ladder(supply=5.0, channels=(Channel(name="red", resistors={"r": 470.0}, guns=(0,)),))
    assert gun_limits(few, ("r",)) is None
    lines = {f"k{bit}": 1000.0 + bit for bit in range(10)}
    many = Ladder(supply=5.0, channels=(Channel(name="grey", resistors=lines, guns=(0, 1, 2)),), tolerance=0.05)
    assert gun_limits(many, tuple(lines)) is None
