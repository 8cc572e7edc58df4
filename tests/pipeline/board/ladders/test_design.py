"""Choices: values, singles and pairs; what is offered, in which order, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board.ladders.design import design, preferred_values, stock_of
from ladderlight.board.ladders.search import Goal
from ladderlight.board.model.ladder import Assembly, mark_of
from ladderlight.errors import BoardError
from ladderlight.units.parsing import quantity


def test_choice_describes_its_ladder() -> None:
    best = design(Goal(bits=2, driver=30.0), "E24", tolerance=0.05)[0]
    assert [resistor.ohms for resistor in best.resistors] == [1300.0, 680.0]
    assert best.volts == pytest.approx([0, 5325 / 21946, 9975 / 21946, 15300 / 21946])
    assert best.max_error == pytest.approx(0.0121419, abs=1e-7)
    assert best.monotonic
    assert best.rail is None
    assert best.analysis.channels[0].lines == ("d0", "d1")
    assert best.analysis.channels[0].levels[1].lowest == pytest.approx(0.2308, abs=5e-5)


def test_best_first_and_ten_more() -> None:
    choices = design(Goal(bits=3), "E24")
    assert len(choices) == 11
    errors = [choice.max_error for choice in choices]
    assert errors == sorted(errors)
    assert len({choice.resistors for choice in choices}) == 11
    assert len(design(Goal(bits=3), "E24", alternatives=2)) == 3


def test_drivers_are_part_of_the_resistors() -> None:
    ideal = design(Goal(bits=1), "E96")[0].resistors[0].ohms
    behind = design(Goal(bits=1, driver=50.0), "E96")[0].resistors[0].ohms
    assert ideal == 464.0
    assert behind == 412.0  # 410.714 ohm and 50


def test_perceptual_evens_out_lightness() -> None:
    volts, lightness = (design(Goal(bits=3, even=even), "E96")[0] for even in ("volts", "perceptual"))
    assert volts.max_error < lightness.max_error
    assert lightness.max_lightness_error < volts.max_lightness_error


def test_r2r() -> None:
    best = design(Goal(bits=2), "E24", r2r=True)[0]
    assert best.rail is not None
    assert str(best.rail) == "330"
    assert [str(rung) for rung in best.resistors] == ["330 + 330"] * 2
    assert best.volts == pytest.approx([0, 0.231481, 0.462963, 0.694444], abs=1e-6)


def test_r2r_rung_of_one_resistor_makes_up_for_drivers() -> None:
    best = design(Goal(bits=4, driver=50.0), "E24", r2r=True)[0]
    assert (str(best.rail), str(best.resistors[0])) == ("430", "820")


def test_pairs_err_less() -> None:
    single, pairs = (design(Goal(bits=3), "E12", pairs=pairs)[0] for pairs in (False, True))
    assert pairs.max_error < single.max_error / 10
    assert any(resistor.joined != "single" for resistor in pairs.resistors)


def test_current_limit() -> None:
    limited = design(Goal(bits=3, current_limit=4e-3), "E24")[0]
    assert max(driver.source for driver in limited.analysis.drivers) <= 4e-3
    free = design(Goal(bits=3), "E24")[0]
    assert max(driver.source for driver in free.analysis.drivers) > 4e-3


@pytest.mark.parametrize(
    ("goal", "what"),
    [
        (Goal(bits=0), "0 bits"),
        (Goal(bits=9), "9 bits"),
        (Goal(bits=2, supply=0.5), "cannot be reached"),
        (Goal(bits=2, load=0.0), "a load of 0"),
        (Goal(bits=2, load=float("inf")), "a load of inf"),
        (Goal(bits=2, driver=-1.0), "a driver of -1"),
        (Goal(bits=2, current_limit=0.0), "a current limit of 0"),
        (
            Goal(bits=2, current_limit=3e-3),
            "with 3 mA a driver; the best without a limit takes 6.65 mA",
        ),
        (
            Goal(bits=3, load=0.1),
            "no E24 values from 10 ohm to 1 Mohm make a ladder of 3 bits that errs by less",
        ),
    ],
)
def test_impossible_goals(goal: Goal, what: str) -> None:
    with pytest.raises(BoardError) as caught:
        design(goal, "E24")
    (fault,) = caught.value.faults
    problem, _, action = fault.message.rpartition("; ")
    assert what in problem
    assert action


def test_pairs_and_r2r_exclude_each_other() -> None:
    with pytest.raises(BoardError, match="no use for pairs"):
        design(Goal(bits=2), "E24", pairs=True, r2r=True)


def test_fine_pairs_are_not_searched_for_even_lightness() -> None:
    with pytest.raises(BoardError, match="too many to search"):
        design(Goal(bits=2, even="perceptual"), "E96", pairs=True)
    coarse = design(Goal(bits=2, even="perceptual"), "E24", pairs=True)[0]
    fine = design(Goal(bits=2, even="perceptual"), "E96")[0]
    assert coarse.max_lightness_error < fine.max_lightness_error


def test_values_are_the_nearest_floats_to_what_is_printed_on_them() -> None:
    values = preferred_values("E24").tolist()
    assert 3300.0 in values
    assert 330000.0 in values
    assert (len(values), values[0], values[-1]) == (121, 10.0, 1e6)


def test_stock_of_singles() -> None:
    stock = stock_of("E12")
    assert len(stock.ohms) == 61
    assert stock.assembly(1) == Assembly(parts=(12.0,))
    assert str(stock.assembly(1)) == "12"


def test_stock_of_pairs_has_each_resistance_once() -> None:
    stock = stock_of("E6", pairs=True)
    assert np.all(np.diff(stock.ohms) > 0)
    assert np.all(np.diff(stock.ohms) / stock.ohms[:-1] > 1e-11)
    values = [decade * value for decade in (1, 10, 100, 1000, 10_000) for value in (10, 15, 22, 33, 47, 68)] + [1000000]
    expected = set(values)
    for i, a in enumerate(values):
        for b in values[i:]:
            expected |= {round(a + b, 7), round(a * b / (a + b), 7)}
    expected = {value for value in expected if 10 <= value <= 1e6}
    assert [round(value, 7) for value in stock.ohms.tolist()] == sorted(expected)


def test_pairs_are_described() -> None:
    stock = stock_of("E6", pairs=True)
    by_ohms = {round(ohms, 6): stock.assembly(index) for index, ohms in enumerate(stock.ohms.tolist())}
    assert by_ohms[780.0] == Assembly(parts=(100.0, 680.0), joined="series")
    assert str(by_ohms[780.0]) == "100 + 680"
    assert str(by_ohms[60.0]) == "100 || 150"
    assert by_ohms[60.0].joined == "parallel"


def test_a_single_resistor_is_preferred_to_a_pair() -> None:
    """330 is also 220 + 110 of E24, and 660 || 660 is none of E6; 100 ohm is also 200 || 200."""
    stock = stock_of("E24", pairs=True)
    index = int(np.flatnonzero(stock.ohms == 100.0)[0])
    assert stock.assembly(index).joined == "single"


@pytest.mark.parametrize("pairs", [False, True])
def test_assemblies_add_up(pairs: bool) -> None:
    stock = stock_of("E6", pairs=pairs)
    for index in range(len(stock.ohms)):
        assembly = stock.assembly(index)
        together = {
            "single": assembly.parts[0],
            "series": sum(assembly.parts),
            "parallel": 1 / sum(1 / part for part in assembly.parts),
        }[assembly.joined]
        assert assembly.ohms == pytest.approx(together, rel=1e-12)


@pytest.mark.parametrize(
    ("ohms", "mark"),
    [
        (820, "820"),
        (3300, "3k3"),
        (1000, "1k"),
        (1370, "1k37"),
        (47e3, "47k"),
        (348e3, "348k"),
        (1e6, "1M"),
        (10.7, "10R7"),
    ],
)
def test_marks(ohms: float, mark: str) -> None:
    assert mark_of(ohms) == mark
    assert quantity(mark, "ohm") == ohms


@pytest.mark.parametrize("series", ["E24", "E192"])
def test_marks_are_read_back(series: str) -> None:
    values = preferred_values(series)
    assert [quantity(mark_of(value), "ohm") for value in values.tolist()] == values.tolist()
