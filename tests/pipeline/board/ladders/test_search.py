"""Goals; the search against trying everything, for goals and values of any sort; R-2R against the network solver."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from ladderlight.board import Channel, Ladder
from ladderlight.board.ladders.analysis import analyse
from ladderlight.board.ladders.search import Goal, WeightedSearch, best_r2r


def test_even_volts() -> None:
    goal = Goal(bits=2)
    assert goal.top == 3
    assert goal.targets == pytest.approx([0, 0.7 / 3, 1.4 / 3, 0.7], rel=1e-15)
    assert goal.effect(goal.targets) is goal.targets


def test_even_lightness_wants_other_volts() -> None:
    goal = Goal(bits=1, even="perceptual")
    assert goal.targets.tolist() == [0.0, 100.0]
    # L* 50 is a luminance of 0.18418652, which sRGB encodes as 0.46633.
    volts = goal.volts_for(np.array([0.0, 50.0, 100.0]))
    assert volts == pytest.approx([0, 0.7 * 0.466327, 0.7], abs=1e-6)
    assert goal.effect(volts) == pytest.approx([0, 50, 100], abs=1e-4)


def everything(goal: Goal, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Errors and indices of all ladders that the goal admits, best first, by plain arithmetic on all of them."""
    index = np.array(list(product(range(len(values)), repeat=goal.bits)))
    conductance = 1 / (values[index] + goal.driver)
    total = conductance.sum(axis=1) + 1 / goal.load
    high = [[code >> bit & 1 for code in range(1 << goal.bits)] for bit in range(goal.bits)]
    volts = goal.supply * (conductance @ np.array(high)) / total[:, None]
    error = np.abs(goal.effect(volts) - goal.targets).max(axis=1)
    admitted = error <= goal.targets[-1] / 4
    if not goal.non_monotonic:
        admitted &= (volts[:, 1:] > volts[:, :-1]).all(axis=1)
    if goal.current_limit is not None:
        currents = (goal.supply - volts[:, [1 << bit for bit in range(goal.bits)]]) * conductance
        admitted &= (currents <= goal.current_limit).all(axis=1)
    order = np.argsort(error[admitted], kind="stable")
    return error[admitted][order], index[admitted][order]


def random_goal(rng: np.random.Generator) -> tuple[Goal, np.ndarray]:
    bits = int(rng.integers(1, 5))
    supply = float(rng.choice([1.0, 3.3, 5.0]))
    goal = Goal(
        bits=bits,
        supply=supply,
        load=float(rng.choice([37.5, 75.0, 1000.0])),
        peak=float(rng.choice([0.3, 0.7, 0.9 * supply])),
        driver=float(rng.choice([0.0, 50.0])),
        even="perceptual" if rng.random() < 0.3 else "volts",
        current_limit=float(rng.uniform(5e-4, 1e-2)) if rng.random() < 0.3 else None,
        non_monotonic=bool(rng.random() < 0.3),
    )
    values = np.unique(np.round(np.exp(rng.uniform(np.log(20), np.log(2e4), [60, 40, 20, 12][bits - 1])), 1))
    return goal, values


@pytest.mark.parametrize("seed", range(60))
def test_nothing_better_is_missed(seed: int) -> None:
    goal, values = random_goal(np.random.default_rng(seed))
    error, index = everything(goal, values)
    found = WeightedSearch(goal=goal, values=values, most=11).best()
    assert found.error == pytest.approx(error[:11], rel=1e-9), goal
    for row, own in zip(found.index.tolist(), found.error.tolist(), strict=True):
        assert row in index[np.abs(error - own) <= 1e-9 * own].tolist()


def test_random_goals_try_every_option() -> None:
    goals = [random_goal(np.random.default_rng(seed))[0] for seed in range(60)]
    assert {goal.even for goal in goals} == {"volts", "perceptual"}
    assert {goal.non_monotonic for goal in goals} == {True, False}
    assert sum(goal.current_limit is not None for goal in goals) > 5
    assert any(goal.peak > goal.supply / 2 for goal in goals)


def test_large_sets_are_searched_in_chunks() -> None:
    """A wide current-limited search: the best of a thousand values per bit, against a search without the bound."""
    values = np.exp(np.linspace(np.log(100), np.log(1e5), 1000))
    goal = Goal(bits=2, current_limit=5e-3)
    found = WeightedSearch(goal=goal, values=values, most=5).best()
    g = 1 / values
    low, high = g[:, None], g[None, :]
    total = low + high + 1 / 75
    volts = np.stack([5 * low / total, 5 * high / total, 5 * (low + high) / total])
    error = np.abs(volts - np.array([0.7 / 3, 1.4 / 3, 0.7])[:, None, None]).max(axis=0)
    allowed = ((5 - volts[1]) * high <= 5e-3) & ((5 - volts[0]) * low <= 5e-3) & (volts[1] > volts[0])
    assert found.error.tolist() == pytest.approx(np.sort(error[allowed])[:5].tolist(), rel=1e-12)


def test_no_ladder_at_all() -> None:
    assert len(WeightedSearch(goal=Goal(bits=2), values=np.array([1e6]), most=3).best()) == 0


def test_of_equal_errors_the_ladder_of_smaller_resistors_comes_first() -> None:
    """Values that are there twice make ladders of the same errors."""
    found = WeightedSearch(goal=Goal(bits=2), values=np.array([680.0, 680.0, 1300.0, 1300.0]), most=4).best()
    assert found.error.tolist() == [found.error[0]] * 4
    assert found.index.tolist() == [[2, 0], [3, 0], [2, 1], [3, 1]]


VALUES = np.array([220.0, 330.0, 360.0, 390.0, 470.0, 680.0, 750.0, 820.0, 1000.0])


def ladder_of(goal: Goal, rail: float, rung: float) -> Ladder:
    return Ladder(
        supply=goal.supply,
        load=goal.load,
        driver_high=goal.driver,
        driver_low=goal.driver,
        channels=(Channel(name="red", resistors={f"d{bit}": rung for bit in range(goal.bits)}, guns=(0,), r2r=rail),),
    )


@pytest.mark.parametrize("bits", [1, 2, 3, 5])
@pytest.mark.parametrize("driver", [0.0, 50.0])
def test_best_of_all_rails_and_rungs(bits: int, driver: float) -> None:
    goal = Goal(bits=bits, driver=driver)
    expected = []
    for rail in VALUES:
        for rung in {*VALUES.tolist(), 2 * rail}:
            analysis = analyse(ladder_of(goal, rail, rung)).channels[0]
            if analysis.monotonic and analysis.max_error <= 0.7 / 4:
                expected.append((analysis.max_error, rail, rung))
    found = best_r2r(goal, VALUES, 5)
    assert [error for error, _, _ in found] == pytest.approx([error for error, _, _ in sorted(expected)[:5]], rel=1e-9)
    assert found[0][1:] in [(rail, rung) for error, rail, rung in expected if error <= found[0][0] + 1e-12]


def test_two_rails_make_the_rung_that_the_series_lacks() -> None:
    ((error, *parts),) = best_r2r(Goal(bits=2), np.array([330.0]), 1)
    assert parts == [330.0, 660.0]
    assert error == pytest.approx(0.7 - 0.75 * 5 * 75 / 405, rel=1e-12)


def test_current_limit_is_kept() -> None:
    free = best_r2r(Goal(bits=3), VALUES, 1)
    limit = 5.2e-3
    limited = best_r2r(Goal(bits=3, current_limit=limit), VALUES, 1)
    most = {
        found: max(d.source for d in analyse(ladder_of(Goal(bits=3), *result[0][1:])).drivers)
        for found, result in (("free", free), ("limited", limited))
    }
    assert most["free"] > limit >= most["limited"]


def test_out_of_order_ladders_are_refused() -> None:
    """Rungs of much more than two rails: the lower bits outweigh the upper ones together."""
    values = np.array([330.0, 910.0])
    free = best_r2r(Goal(bits=4, non_monotonic=True), values, 20)
    refused = best_r2r(Goal(bits=4), values, 20)
    assert [330.0, 910.0] in [parts for _, *parts in free]
    assert [330.0, 910.0] not in [parts for _, *parts in refused]
    assert not analyse(ladder_of(Goal(bits=4), 330.0, 910.0)).channels[0].monotonic


def test_what_errs_by_more_than_a_quarter_is_not_offered() -> None:
    found = best_r2r(Goal(bits=2, non_monotonic=True), np.array([75.0, 330.0, 1000.0]), 20)
    assert found[-1][0] <= 0.7 / 4
    assert {rail for _, rail, _ in found} == {330.0}
