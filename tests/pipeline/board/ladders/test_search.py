"""The search against trying everything, for goals of all kinds and values of any sort."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from ladderlight.board.ladders.goal import Goal
from ladderlight.board.ladders.search import Found, WeightedSearch, best_of


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


def test_best_of_keeps_the_best_and_breaks_ties_by_size() -> None:
    one = Found(index=np.array([[3, 1], [2, 2]]), error=np.array([1.0, 3.0]))
    other = Found(index=np.array([[4, 0], [9, 9]]), error=np.array([1.0, 2.0]))
    joined = best_of(one, other, 3)
    assert joined.index.tolist() == [[4, 0], [3, 1], [9, 9]]
    assert joined.error.tolist() == [1.0, 1.0, 2.0]
