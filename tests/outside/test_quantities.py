"""Quantities against ``quantiphy``, which reads the same notation."""

from __future__ import annotations

from fractions import Fraction

import pytest
from quantiphy import Quantity

from ladderlight.units.parsing import UNITS, MisfitError, exact_quantity

PREFIXES = ["", *"kMGTPEKcmunpfa\u00b5\u03bc", "Ki", "Mi", "Gi", "Ti"]


@pytest.mark.parametrize("unit", ["Hz", "s", "V", "A", "W", "m", "B", "ohm"])
@pytest.mark.parametrize("prefix", PREFIXES)
def test_prefixes(prefix: str, unit: str) -> None:
    """Version 2.20, with its binary prefixes. A lone m is metres here, and millihertz are a mistake."""
    text = f"12.5 {prefix}{unit}"
    if (prefix, unit) == ("m", "Hz"):
        with pytest.raises(MisfitError, match="capital M"):
            exact_quantity(text, unit)
        return
    theirs = Quantity(text, binary=True)
    if (prefix, unit) == ("", "m"):
        assert exact_quantity(text, unit) == Fraction("12.5")
        return
    assert theirs.units == unit
    assert exact_quantity(text, unit) == Fraction(str(theirs.real))


@pytest.mark.parametrize("unit", [unit for unit in UNITS if unit != "%"])
@pytest.mark.parametrize("letter", [chr(code) for code in range(ord("A"), ord("z") + 1) if chr(code).isalpha()])
def test_no_letter_means_another_factor(letter: str, unit: str) -> None:
    """What is read here means the same there; letters that are not read here are refused."""
    try:
        ours = exact_quantity(f"3 {letter}{unit}", unit)
    except MisfitError:
        return
    theirs = Quantity(f"3 {letter}{unit}", binary=True)
    assert (ours, unit) == (Fraction(str(theirs.real)), theirs.units)
