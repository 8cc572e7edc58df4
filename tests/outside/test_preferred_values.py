"""Preferred values and their tolerances against IEC 60063, marks against IEC 60062.

The values of E6, E12 and E24 are those of the standard's tables. Those of E48, E96 and E192 follow from the rule that
the standard gives for them, 10**(n/N) to three digits, with its one exception: 920 of E192 stands where the rule gives
919. A library with tables of its own agrees with all of them.
"""

from __future__ import annotations

from fractions import Fraction
from typing import get_args

import eseries
import numpy as np
import pytest

from ladderlight.board.ladders.design import TOLERANCES, Series, preferred_values
from ladderlight.units.parsing import quantity

E6 = "10 15 22 33 47 68"
E12 = "10 12 15 18 22 27 33 39 47 56 68 82"
E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"


@pytest.mark.parametrize(("series", "table"), [("E6", E6), ("E12", E12), ("E24", E24)])
def test_coarse_series(series: str, table: str) -> None:
    values = preferred_values(series)
    assert [f"{value:g}" for value in values if value < 100] == table.split()


@pytest.mark.parametrize(("series", "count"), [("E48", 48), ("E96", 96), ("E192", 192)])
def test_fine_series_follow_the_rule(series: str, count: int) -> None:
    rule = [round(100 * 10 ** (n / count)) for n in range(count)]
    if count == 192:
        assert rule[185] == 919
        rule[185] = 920
    assert [value for value in preferred_values(series) if 100 <= value < 1000] == rule


@pytest.mark.parametrize("series", get_args(Series))
def test_a_library_has_the_same_values_and_tolerances(series: str) -> None:
    """``eseries`` 1.2, whose tables were entered by hand."""
    theirs = eseries.ESeries[series]
    low = 100 if len(str(eseries.series(theirs)[0])) == 3 else 10
    decade = [value for value in preferred_values(series) if low <= value < 10 * low]
    assert decade == list(eseries.series(theirs))
    assert TOLERANCES[series] == eseries.tolerance(theirs)


@pytest.mark.parametrize("series", get_args(Series))
def test_decades_repeat(series: str) -> None:
    values = preferred_values(series)[:-1]  # without 1 Mohm
    decades = values.reshape(5, -1)
    for decade in range(1, 5):
        assert decades[decade] == pytest.approx(decades[0] * 10**decade, rel=1e-15)
    assert np.all(values == [float(f"{value:.3g}") for value in values])


def test_tolerances() -> None:
    """IEC 60063: over 20 % for E6... the usual pairing, 20, 10, 5, 2, 1 and 0.5 %."""
    assert list(TOLERANCES.items()) == [
        ("E6", 0.2),
        ("E12", 0.1),
        ("E24", 0.05),
        ("E48", 0.02),
        ("E96", 0.01),
        ("E192", 0.005),
    ]


@pytest.mark.parametrize(
    ("mark", "ohms"),
    [
        # Examples of IEC 60062's table of letter code marks for resistance (from memory).
        ("R10", "0.1"),
        ("R15", "0.15"),
        ("R332", "0.332"),
        ("R59", "0.59"),
        ("1R0", "1"),
        ("1R5", "1.5"),
        ("3R32", "3.32"),
        ("5R9", "5.9"),
        ("10R", "10"),
        ("33R2", "33.2"),
        ("59R", "59"),
        ("100R", "100"),
        ("332R", "332"),
        ("1K0", "1e3"),
        ("1K5", "1.5e3"),
        ("3K32", "3.32e3"),
        ("5K9", "5.9e3"),
        ("10K", "10e3"),
        ("33K2", "33.2e3"),
        ("150K", "150e3"),
        ("1M0", "1e6"),
        ("1M5", "1.5e6"),
        ("3M32", "3.32e6"),
        ("10M", "10e6"),
        ("1G0", "1e9"),
    ],
)
def test_letter_code(mark: str, ohms: str) -> None:
    assert quantity(mark, "ohm") == float(Fraction(ohms))
