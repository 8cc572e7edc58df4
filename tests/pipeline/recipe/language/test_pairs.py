"""Two typical mistakes at once are both reported, and no other line is."""

from __future__ import annotations

from collections.abc import Callable

import pytest

MISTAKES = {
    "memory": ("[[board.memory]]", "[[board.memry]]"),
    "ladder": ("[board.ladder]", "[board.lader]"),
    "one memory": ("[[board.memory]]", "[board.memory]"),
    "two ladders": ("[board.ladder]", "[[board.ladder]]"),
    "pictures": ("[pictures]", "[pictrues]"),
    "address": ("address =", "adress ="),
    "data": ("data =", "dta ="),
    "part": ("part =", "prt ="),
    "clock": ("clock =", "clok ="),
    "mode": ("mode =", "mod ="),
    "blanking": ("blanking =", "blankin ="),
    "supply": ("supply =", "suply ="),
    "red": ("red =", "rde ="),
    "no mode": ("640x480@60", "640x480@61"),
    "no part": ("27C010", "27C01O"),
    "no unit": ("120 ns", "120 nz"),
    "no clock": ("25.175 MHz", "25.175 MHx"),
    "no blanking": ("output-enable", "output-enabel"),
    "no line": ('"y2-y8"', '"yy2-y8"'),
    "far line": ('"x2-x9"', '"x2-x19"'),
    "no resistance": ("680", "68o"),
    "no ladder line": ('"r0-r2"', '"r0-r9"'),
}


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("memory", "far line"),
        ("memory", "no part"),
        ("memory", "no unit"),
        ("ladder", "no resistance"),
        ("one memory", "far line"),
        ("one memory", "no unit"),
        ("two ladders", "no resistance"),
        ("pictures", "far line"),
        ("address", "no part"),
        ("data", "no resistance"),
        ("part", "far line"),
        ("clock", "far line"),
        ("mode", "no ladder line"),
        ("blanking", "far line"),
        ("supply", "far line"),
        ("red", "far line"),
        ("no mode", "far line"),
        ("no part", "far line"),
        ("no clock", "no ladder line"),
        ("no unit", "no line"),
        ("no blanking", "far line"),
        ("no resistance", "no ladder line"),
    ],
)
def test_both_of_two_mistakes_are_reported(
    text: str, complaints: Callable[[str], list[str]], first: str, second: str
) -> None:
    spoilt = text
    for old, new in (MISTAKES[first], MISTAKES[second]):
        assert spoilt.count(old) == 1
        spoilt = spoilt.replace(old, new)
    changed = [
        number
        for number, lines in enumerate(zip(text.splitlines(), spoilt.splitlines(), strict=True), start=1)
        if lines[0] != lines[1]
    ]
    assert sorted({int(line.split(":")[1]) for line in complaints(spoilt)}) == changed
