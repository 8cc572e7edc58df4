"""Values to choose from: singles and pairs."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board.ladders.series import preferred_values, stock_of
from ladderlight.board.model.ladder import Assembly, mark_of
from ladderlight.units.parsing import quantity


def test_limits_are_included() -> None:
    assert preferred_values("E6", smallest=22, largest=220).tolist() == [22, 33, 47, 68, 100, 150, 220]


def test_values_are_the_nearest_floats_to_what_is_printed_on_them() -> None:
    values = preferred_values("E24").tolist()
    assert 3300.0 in values
    assert 330000.0 in values
    assert (len(values), values[0], values[-1]) == (121, 10.0, 1e6)


def test_stock_of_singles() -> None:
    stock = stock_of("E12")
    assert len(stock) == 61
    assert stock.assembly(1) == Assembly(parts=(12.0,))
    assert str(stock.assembly(1)) == "12"


def test_stock_of_pairs_has_each_resistance_once() -> None:
    stock = stock_of("E6", pairs=True, smallest=100, largest=1000)
    assert np.all(np.diff(stock.ohms) > 0)
    assert np.all(np.diff(stock.ohms) / stock.ohms[:-1] > 1e-11)
    values = [100, 150, 220, 330, 470, 680, 1000]
    expected = set(values)
    for i, a in enumerate(values):
        for b in values[i:]:
            expected |= {round(a + b, 7), round(a * b / (a + b), 7)}
    expected = {value for value in expected if 100 <= value <= 1000}
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
    stock = stock_of("E6", pairs=pairs, smallest=100, largest=1e4)
    for index in range(len(stock)):
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
