"""Whatever is done to a recipe, its errors are told in lines of one form, and never as a failure of the program."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ladderlight.errors import RecipeError
from ladderlight.recipe import Recipe

VALUES = [
    *("true", "3", "-1", "1.5", "nan", "1e300", "0x7fffffffffffffff", "2024-01-01", '""', '"x"', '"-"', '"\\u0000"'),
    *("[]", "{}", "[{}]", "[[]]", '[1, "a"]', "{ a = 1 }", '"5 V"', '"x2-x9"', '"bank9"', '"picture.d0"', '"!y8"'),
    *('"low"', '"y0-y9"', '"27C256"', "1000000"),
]
LINE = re.compile(r"recipe\.toml:\d+:\d+: [^\n]+; [^\n]+")


def damaged(text: str, chance: random.Random) -> str:
    """Spoil a text in one to three places."""
    lines = text.split("\n")
    for _ in range(chance.choice([1, 1, 2, 3])):
        at = chance.randrange(len(lines))
        line = lines[at]
        parts = re.findall(r'"[^"]*"|\w+|\S', line)
        kind = chance.choice(["delete", "copy", "value", "part", "letter", "key"])
        if kind == "delete" and len(lines) > 1:
            del lines[at]
        elif kind == "copy":
            lines.insert(chance.randrange(len(lines)), line)
        elif kind == "value" and "=" in line:
            lines[at] = f"{line.partition('=')[0]}= {chance.choice(VALUES)}"
        elif kind == "part" and parts:
            lines[at] = line.replace(chance.choice(parts), chance.choice(VALUES), 1)
        elif kind == "letter" and line:
            place = chance.randrange(len(line))
            lines[at] = line[:place] + chance.choice('[]{}"=,.x1 é\t') + line[place + 1 :]
        elif kind == "key" and "=" in line:
            lines[at] = line[1:]
    return "\n".join(lines)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(chance=st.randoms(use_true_random=False))
def test_damage_is_reported_line_by_line(read: Callable[[str], Recipe], text: str, chance: random.Random) -> None:
    spoilt = damaged(text, chance)
    try:
        recipe = read(spoilt)
    except RecipeError as error:
        assert str(error).splitlines()
        for line in str(error).splitlines():
            assert LINE.fullmatch(line), line
            at, column = map(int, line.split(":")[1:3])
            lines = spoilt.split("\n")
            assert at <= len(lines)
            assert column <= len(lines[at - 1]) + 1
    else:
        assert recipe.board.geometry.width > 0
