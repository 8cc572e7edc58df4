"""Quantities against ``quantiphy``, which reads the same notation."""

from __future__ import annotations

from fractions import Fraction
from string import ascii_letters

import pytest
from quantiphy import Quantity

from ladderlight.units.parsing import UNITS, MisfitError, exact_quantity

PREFIXES = ["", *"kMGTPEKcmunpfa\u00b5\u03bc", "Ki", "Mi", "Gi", "Ti"]


@pytest.mark.parametrize("unit", ["Hz", "s", "V", "A", "W", "m", "B", "ohm"])
def test_prefixes(unit: str) -> None:
    """Version 2.20, with its binary prefixes. A lone m is metres here, and millihertz are a mistake."""
    for prefix in PREFIXES:
        text = f"12.5 {prefix}{unit}"
        if (prefix, unit) == ("m", "Hz"):
            with pytest.raises(MisfitError, match="capital M"):
                exact_quantity(text, unit)
            continue
        theirs = Quantity(text, binary=True)
        if (prefix, unit) == ("", "m"):
            assert exact_quantity(text, unit) == Fraction("12.5")
            continue
        assert theirs.units == unit, text
        assert exact_quantity(text, unit) == Fraction(str(theirs.real)), text


@pytest.mark.parametrize("unit", [unit for unit in UNITS if unit != "%"])
def test_no_letter_means_another_factor(unit: str) -> None:
    """What is read here means the same there; letters that are not read here are refused."""
    for letter in ascii_letters:
        text = f"3 {letter}{unit}"
        try:
            ours = exact_quantity(text, unit)
        except MisfitError:
            continue
        theirs = Quantity(text, binary=True)
        assert (ours, unit) == (Fraction(str(theirs.real)), theirs.units), text
