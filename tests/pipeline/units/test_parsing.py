import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ladderlight.units.parsing import UNITS, MisfitError, exact_quantity, quantity, unit_of


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("120 ns", "s", 120e-9),
        ("120ns", "s", 120e-9),
        ("0.12 us", "s", 120e-9),
        ("0.12 µs", "s", 120e-9),
        ("128 KiB", "B", 131072),
        ("1 MiB", "B", 1 << 20),
        ("5 V", "V", 5),
        ("700 mV", "V", 0.7),
        ("-5 V", "V", -5),
        ("75 ohm", "ohm", 75),
        ("50 mA", "A", 0.05),
        ("1e3 Hz", "Hz", 1000),
        ("5 %", "%", 0.05),
        ("5%", "%", 0.05),
        ("2 mm", "m", 0.002),
        (0.05, "%", 0.05),
        (5, "V", 5),
        ("3 px", "px", 3),
        ("20 ms", "seconds", 0.02),
    ],
)
def test_quantities(text: object, unit: str, value: float) -> None:
    assert quantity(text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "hertz"),
    [
        ("25.175 MHz", Fraction(25_175_000)),
        ("28.322 MHz", Fraction(28_322_000)),
        ("33.333333 MHz", Fraction(33_333_333)),
        ("14.31818 MHz", Fraction(14_318_180)),
        ("25175.0000001 kHz", Fraction(251_750_000_001, 10_000)),
        (25_175_000, Fraction(25_175_000)),
        (0.1, Fraction(1, 10)),
    ],
)
def test_frequencies_are_exact(text: object, hertz: Fraction) -> None:
    assert exact_quantity(text, "Hz") == hertz


# IEC 60062, the examples that its letter code for resistances is commonly explained with (from memory): R47 is
# 0.47 ohm, 4R7 4.7 ohm, 470R 470 ohm, 4K7 4.7 kilohm, 47K 47 kilohm, 47K3 47.3 kilohm, 470K 470 kilohm, 4M7 4.7 megohm.
@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470),
        ("4K7", 4700),
        ("4k7", 4700),
        ("47K", 47_000),
        ("47K3", 47_300),
        ("470K", 470_000),
        ("4M7", 4.7e6),
        ("1M0", 1e6),
        ("1G0", 1e9),
        ("10L", 0.01),
        ("820", 820),
        ("820.5", 820.5),
        (" 820 ", 820),
        ("3.3k", 3300),
        ("3.3 kohm", 3300),
        ("75 ohm", 75),
        ("75 Ohm", 75),
        ("2.2k\u03a9", 2200),
        ("2.2 k\u2126", 2200),
        ("4k7 ohm", 4700),
        ("470 R", 470),
        (820, 820),
    ],
)
def test_resistances(text: object, ohms: float) -> None:
    assert quantity(text, "ohm") == ohms


@given(st.integers(1, 999), st.integers(0, 99), st.sampled_from([("R", 1), ("K", 1000), ("M", 10**6)]))
def test_the_letter_is_the_decimal_point(whole: int, part: int, letter: tuple[str, int]) -> None:
    code = f"{whole}{letter[0]}{part:02d}"
    assert exact_quantity(code, "ohm") == (whole + Fraction(part, 100)) * letter[1]


@given(st.fractions(min_value=0, max_value=10**9, max_denominator=10**6), st.sampled_from(["", "k", "M"]))
def test_a_prefix_scales_exactly(number: Fraction, prefix: str) -> None:
    text = f"{float(number):.6f}"
    scale = {"": 1, "k": 1000, "M": 10**6}[prefix]
    assert exact_quantity(f"{text} {prefix}Hz", "Hz") == Fraction(text) * scale


@pytest.mark.parametrize(
    ("value", "unit", "message"),
    [
        (True, "Hz", 'is true, not a frequency; write a frequency such as "25.175 MHz"'),
        (None, "V", 'is None, not a voltage; write a voltage such as "5 V"'),
        ([5], "V", 'is a list, not a voltage; write a voltage such as "5 V"'),
        ({"V": 5}, "V", 'is a table, not a voltage; write a voltage such as "5 V"'),
        ("25.175", "Hz", "is '25.175', which has no unit; write a frequency such as \"25.175 MHz\""),
        ("25 ns", "Hz", "is '25 ns', which is not a frequency; write a frequency such as \"25.175 MHz\""),
        ("25.175 mhz", "Hz", "is '25.175 mhz', and m is milli; write MHz with a capital M"),
        ("fast", "s", "is 'fast', which is not a time; write a time such as \"120 ns\""),
        ("", "s", "is '', which is not a time; write a time such as \"120 ns\""),
        ("0,7 V", "V", "is '0,7 V', which is not a voltage; write a decimal point instead of the comma"),
        ("128 K", "B", "is '128 K', which has no unit; write a size such as \"128 KiB\""),
        ("5", "%", "is '5', which has no unit; write a share such as \"5 %\" or 0.05"),
        (math.inf, "s", 'is inf, which is not a time; write a time such as "120 ns"'),
        (math.nan, "s", 'is nan, which is not a time; write a time such as "120 ns"'),
        ("nan V", "V", "is 'nan V', which is not a voltage; write a voltage such as \"5 V\""),
        ("1e999999999 V", "V", "is '1e999999999 V', which is not a voltage; write a voltage such as \"5 V\""),
        (10**400, "V", 'is too large; write a voltage such as "5 V"'),
        ("9" * 5000 + " V", "V", 'is too long; write a voltage such as "5 V"'),
        ("5 :", "V", "is '5 :', which is not a voltage; write a voltage such as \"5 V\""),
        ("2 s", "px", "is '2 s', which is not a quantity in px; write a quantity in px such as \"1 px\""),
    ],
)
def test_what_does_not_fit_is_named_with_an_example(value: object, unit: str, message: str) -> None:
    with pytest.raises(MisfitError) as caught:
        quantity(value, unit)
    assert str(caught.value) == message


@pytest.mark.parametrize("text", ["1m5", "k", "R", "4K7J", "1k5k", "5 V", "1k 5", "4,7k", "-", "0x10"])
def test_no_resistances(text: str) -> None:
    with pytest.raises(MisfitError, match="which is not a resistance"):
        quantity(text, "ohm")


@given(st.text(max_size=12) | st.floats() | st.integers() | st.booleans() | st.none(), st.sampled_from(sorted(UNITS)))
def test_anything_is_read_or_refused_in_words(value: object, unit: str) -> None:
    try:
        assert math.isfinite(quantity(value, unit))
    except MisfitError as error:
        assert error.what.startswith("is ")
        assert error.action.startswith("write ")


def test_units_known_by_other_names() -> None:
    assert unit_of("seconds") is UNITS["s"]
    assert unit_of("\u03a9") is UNITS["ohm"]
