from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from ladderlight.recipe.language.values import (
    AddressEntry,
    ByteCount,
    DataEntry,
    Frequency,
    Glow,
    MemoryName,
    Ohms,
    PageBytes,
    Polarity,
    Printed,
    Proportion,
    Seconds,
    Tolerance,
    Words,
)


def read(kind: Any, value: object) -> Any:
    return TypeAdapter(kind).validate_python(value)


@pytest.mark.parametrize(
    ("kind", "value", "result"),
    [
        (Frequency, "25.175 MHz", Fraction(25_175_000)),
        (Frequency, 1000, Fraction(1000)),
        (Frequency, "1 GHz", Fraction(10**9)),
        (Seconds, "120 ns", 120e-9),
        (Seconds, 0, 0.0),
        (Ohms, "1k5", 1500.0),
        (Tolerance, "5 %", 0.05),
        (Tolerance, 0.05, 0.05),
        (Glow, "0.2 %", 0.002),
        (Glow, 0.002, 0.002),
        (Words, 131072, 131072),
        (Words, "96 KiB", 98304),
        (Words, "128 KiB", 131072),
        (Words, 2, 2),
        (Polarity, "- -", (False, False)),
        (Polarity, "+-", (True, False)),
        (Polarity, "-/+", (False, True)),
        (Proportion, "4:3", Fraction(4, 3)),
        (Proportion, "1280 : 1024", Fraction(5, 4)),
        (AddressEntry, "!y8", "!y8"),
        (AddressEntry, "x0-x2^map.d7", "x0-x2^map.d7"),
        (DataEntry, "-", "-"),
        (DataEntry, "r3-r0", "r3-r0"),
        (MemoryName, "tile_map", "tile_map"),
        (PageBytes, 64, 64),
        (PageBytes, "4 KiB", 4096),
        (Printed, "MH 28/64-15", "MH 28/64-15"),
    ],
)
def test_values(kind: Any, value: object, result: object) -> None:
    found = read(kind, value)
    assert found == result
    assert type(found) in (type(result), ByteCount)


def test_bytes_are_told_from_words() -> None:
    assert isinstance(read(Words, "128 KiB"), ByteCount)
    assert not isinstance(read(Words, 131072), ByteCount)


@pytest.mark.parametrize(
    ("kind", "value", "message"),
    [
        (Frequency, "999 Hz", "is '999 Hz', which is out of range; use a frequency from 1 kHz to 1 GHz"),
        (Frequency, 1.001e9, "is 1001000000.0 Hz, which is out of range; use a frequency from 1 kHz to 1 GHz"),
        (Seconds, "1.1 ms", "is '1.1 ms', which is out of range; use a time from 0 s to 1 ms"),
        (Ohms, 0, "is 0 ohm, which is out of range; use a resistance above 0 ohm and up to 1 Gohm"),
        (Tolerance, 5, "is 500 %, which is out of range; use a share from 0 % to 50 %"),
        (Words, True, 'is true, not a number of words; write 131072 or "128 KiB"'),
        (Words, 1.5, 'is 1.5, not a number of words; write 131072 or "128 KiB"'),
        (Words, 1, "is 1, which is out of range; use 2 to 67108864"),
        (Words, 1 << 40, "is 1099511627776, which is out of range; use 2 to 67108864"),
        (Words, 100_000, "is 100000, which is not a power of two; use 65536 or 131072"),
        (Words, "128 k", "is '128 k', which has no unit; write a size such as \"128 KiB\""),
        (Words, "1 B", "is '1 B', which is out of range; use 2 to 268435456 bytes"),
        (Words, "3.5 B", "is '3.5 B', which is out of range; use 2 to 268435456 bytes"),
        (Glow, "100 %", "is '100 %', which is out of range; use a share from 0 % to 99 %"),
        (Polarity, "--+", 'is \'--+\'; write the signs of line and frame sync, such as "- -" or "+ -"'),
        (Polarity, 1, 'is 1; write the signs of line and frame sync, such as "- -" or "+ -"'),
        (Proportion, "4/3", "is '4/3'; write the screen's width to its height, such as \"4:3\""),
        (Proportion, "4:0", "is '4:0'; write the screen's width to its height, such as \"4:3\""),
        (PageBytes, True, 'is true where a number of bytes is meant; write 64 or "4 KiB"'),
        (PageBytes, 100, "is 100, which is not a page or sector; use a power of two of bytes"),
        (
            Printed,
            "*/ =1+1",
            "is '*/ =1+1'; use up to 40 letters, digits, spaces and . + - / _, "
            "as printed on the chip or in its datasheet",
        ),
        (DataEntry, "x3", "is 'x3', which is a counter's bit; give what the pin drives another name, such as r0"),
        (
            DataEntry,
            "bank0-bank1",
            "is 'bank0-bank1', and 'bank0' is a counter's bit; give what the pin drives another name, such as r0",
        ),
        (DataEntry, "low", "is 'low', which is a constant; give what the pin drives another name, such as r0"),
        (DataEntry, "!x_rest", "is '!x_rest', which is not a name; did you mean '!x_reset'?"),
        (DataEntry, "map.d0", "is 'map.d0', which is not a name; write r0, r0-r3, or - for a pin that drives nothing"),
        (
            MemoryName,
            "picture ROM",
            "is 'picture ROM', which is not a plain name; use letters, digits and _, such as 'picture_rom'",
        ),
        (
            MemoryName,
            "27C010",
            "is '27C010', which is not a plain name; use letters, digits and _, such as 'memory_27c010'",
        ),
        (MemoryName, "", "is '', which is not a plain name; use letters, digits and _, such as 'memory'"),
        (MemoryName, "y3", "is 'y3', which is the name of a line; use a name such as 'picture'"),
    ],
)
def test_values_that_do_not_fit(kind: Any, value: object, message: str) -> None:
    with pytest.raises(ValidationError) as caught:
        read(kind, value)
    (detail,) = caught.value.errors()
    assert str(detail["ctx"]["error"]) == message
