"""The designed ladders against an exhaustive search that shares nothing with the product's.

The search here tries every combination of values, which it lists by IEC 60063's rule, and works levels out by
Millman's theorem. The table of best ladders from 5 V into 75 ohm was computed for this project by such a search.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from ladderlight.board.ladders.design import design
from ladderlight.board.ladders.search import Goal

COARSE = {
    "E6": [10, 15, 22, 33, 47, 68],
    "E12": [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82],
    "E24": [10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91],
}
BOARDS = [
    pytest.param(supply, driver, id=f"{supply} V {driver} ohm") for supply in (5.0, 3.3) for driver in (0.0, 50.0)
]


def listed(series: str, smallest: float = 10.0, largest: float = 1e6) -> np.ndarray:
    """All values of a series, worked out anew."""
    if series in COARSE:
        one = np.array(COARSE[series], dtype=float)
    else:
        count = int(series[1:])
        one = np.array([round(100 * 10 ** (n / count)) for n in range(count)]) / 10
        one[one == 91.9] = 92.0
    values = np.concatenate([one * 10.0**decade for decade in range(6)])
    return values[(values >= smallest) & (values <= largest)]


def exhaustive(
    choices: list[np.ndarray],
    *,
    supply: float,
    driver: float,
    load: float = 75.0,
    peak: float = 0.7,
    monotonic: bool = True,
) -> tuple[np.ndarray, np.ndarray]:
    """Errors and resistors (least significant first) of the eleven best of all combinations.

    ``choices`` are the values of each bit, least significant first. The most significant one is looped over, so that
    the rest fit into memory.
    """
    bits = len(choices)
    ideal = peak * np.arange(2**bits) / (2**bits - 1)
    best_error, best_ohms = np.zeros(0), np.zeros((0, bits))
    grids = [grid.ravel() for grid in np.meshgrid(*choices[:-1], indexing="ij")] if bits > 1 else []
    for most in choices[-1]:
        columns = [*grids, np.full(grids[0].shape if grids else 1, most)]
        conductance = [1 / (column + driver) for column in columns]
        total = sum(conductance) + 1 / load
        error = np.zeros(len(total))
        before = np.full(len(total), -1.0)
        ascending = np.ones(len(total), dtype=bool)
        for code in range(2**bits):
            high = sum((g for bit, g in enumerate(conductance) if code >> bit & 1), np.zeros(len(total)))
            volts = supply * high / total
            error = np.maximum(error, np.abs(volts - ideal[code]))
            ascending &= volts > before
            before = volts
        if monotonic:
            error = np.where(ascending, error, np.inf)
        kept = np.argsort(error)[:11]
        best_error = np.concatenate([best_error, error[kept]])
        best_ohms = np.concatenate([best_ohms, np.stack([column[kept] for column in columns], axis=1)])
        order = np.argsort(best_error, kind="stable")[:11]
        best_error, best_ohms = best_error[order], best_ohms[order]
    return best_error, best_ohms


def agrees(goal: Goal, series: str, error: np.ndarray, ohms: np.ndarray) -> None:
    found = design(goal, series)
    error = error[error <= goal.peak / 4]  # what errs by more than a quarter of the range is not offered
    assert len(error) >= 2
    assert len(found) == len(error)
    assert [choice.max_error for choice in found] == pytest.approx(error.tolist(), rel=1e-9)
    best = [resistor.ohms for resistor in found[0].resistors]
    ties = ohms[: len(error)][error <= error[0] * (1 + 1e-9)]
    assert any(np.allclose(best, row, rtol=1e-12) for row in ties)


@pytest.mark.parametrize(
    ("bits", "series", "ohms", "millivolts"),
    [
        (2, "E12", "680/1500", 17.8707),
        (2, "E24", "680/1500", 17.8707),
        (2, "E96", "698/1370", 4.3952),
        (3, "E12", "820/1500/3300", 14.7415),
        (3, "E24", "820/1600/3300", 8.2505),
        (3, "E96", "806/1620/3240", 1.3133),
        (4, "E12", "820/1800/3900/6800", 20.4920),
        (4, "E24", "820/1800/3600/7500", 19.5631),
        (4, "E96", "866/1740/3400/6810", 2.2485),
    ],
)
def test_table_of_best_ladders(bits: int, series: str, ohms: str, millivolts: float) -> None:
    best = design(Goal(bits=bits), series)[0]
    assert "/".join(f"{resistor.ohms:g}" for resistor in reversed(best.resistors)) == ohms
    assert round(best.max_error * 1e3, 4) == millivolts


@pytest.mark.parametrize(("supply", "driver"), BOARDS)
@pytest.mark.parametrize("series", ["E6", "E12", "E24", "E48", "E96", "E192"])
def test_two_bits_in_every_series(series: str, supply: float, driver: float) -> None:
    values = listed(series)
    error, ohms = exhaustive([values] * 2, supply=supply, driver=driver)
    agrees(Goal(bits=2, supply=supply, driver=driver), series, error, ohms)


@pytest.mark.parametrize(("supply", "driver"), BOARDS)
@pytest.mark.parametrize("series", ["E6", "E12"])
def test_three_bits_over_all_values(series: str, supply: float, driver: float) -> None:
    error, ohms = exhaustive([listed(series)] * 3, supply=supply, driver=driver)
    agrees(Goal(bits=3, supply=supply, driver=driver), series, error, ohms)


@pytest.mark.parametrize(
    ("bits", "series"),
    [
        *((3, series) for series in ("E24", "E48", "E96", "E192")),
        *((4, series) for series in ("E12", "E24", "E48", "E96", "E192")),
        (5, "E24"),
        (6, "E24"),
    ],
)
@pytest.mark.parametrize(("supply", "driver"), BOARDS)
def test_more_bits_near_the_ideal(bits: int, series: str, supply: float, driver: float) -> None:
    """Every value that a ladder of the eleven best can contain.

    A ladder that errs by at most E has each single bit within E of its wish and white too, which bounds its
    conductances. E is the product's own eleventh best: were it too small, the search here would find better ones.
    """
    goal = Goal(bits=bits, supply=supply, driver=driver)
    worst = design(goal, series)[-1].max_error
    white = np.array([0.7 - worst, 0.7 + worst])
    total = supply / 75 / (supply - white)
    choices = []
    for bit in range(bits):
        wish = 0.7 * 2**bit / (2**bits - 1)
        largest = (wish + worst) * total[1] / supply
        smallest = max(wish - worst, 0.0) * total[0] / supply
        values = listed(series)
        conductance = 1 / (values + driver)
        choices.append(values[(conductance <= largest * 1.001) & (conductance >= smallest * 0.999)])
    error, ohms = exhaustive(choices, supply=supply, driver=driver)
    agrees(goal, series, error, ohms)


def test_out_of_order_ladders_only_when_asked_for() -> None:
    """Four bits of E6: the best of all is out of order."""
    values = listed("E6", smallest=100, largest=1e5)
    free, ohms = exhaustive([values] * 4, supply=5.0, driver=0.0, monotonic=False)
    ordered, _ = exhaustive([values] * 4, supply=5.0, driver=0.0)
    assert free[0] < ordered[0]
    agrees(Goal(bits=4, non_monotonic=True), "E6", free, ohms)
    assert design(Goal(bits=4), "E6")[0].max_error == pytest.approx(ordered[0], rel=1e-9)


def test_pairs_of_resistors() -> None:
    """Two bits of E6 from 100 ohm to 10 kilohm, each bit one resistor or two in series or in parallel, by plain loops.

    Values beyond those cannot help: the best ladders found err by so little that each bit needs 500 to 3000 ohm.
    """
    single = listed("E6").tolist()
    pool = set(single)
    for a, b in product(single, repeat=2):
        pool |= {round(a + b, 6), round(a * b / (a + b), 6)}
    values = np.array(sorted(value for value in pool if 400 < value < 4000))
    error, _ = exhaustive([values] * 2, supply=5.0, driver=0.0)
    found = design(Goal(bits=2), "E6", pairs=True)
    # Equal resistances are one choice, and rounding may keep two that are one: compare the distinct errors.
    assert found[0].max_error == pytest.approx(error[0], abs=1e-9)
    assert found[-1].max_error == pytest.approx(error[-1], abs=1e-8)
