from __future__ import annotations

import random

import pytest
import tomli
from hypothesis import given
from hypothesis import strategies as st

from ladderlight.recipe.source.positions import Positions
from ladderlight.stages.validation import KeyName

TEXT = """\
format = 1
board.clock = "25 MHz"
plugins = [
  "é", "b", # "c",
  { q = 1,  # }
    r = [1, 2], },
]
[board."lad der"]
red = { r0 = "3k3", r1.z = \"""a
b\""" }
[[board.memory]]
name = "p\\e{"
address = ["x2-x9",
   "y2"]
[[board.memory]]
name = 'C:\\p'
packing = {
  pixels = 3
}
  [board.memory.more]
  x = 07:32
[[board.memory.more.deep]]
y = true
"""


@pytest.mark.parametrize(
    ("where", "line", "column"),
    [
        ((), 1, 1),
        (("format",), 1, 10),
        ((KeyName("format"),), 1, 1),
        (("board",), 2, 1),
        (("board", "clock"), 2, 15),
        (("board", KeyName("clock")), 2, 7),
        (("plugins",), 3, 11),
        (("plugins", 0), 4, 3),
        (("plugins", 1), 4, 8),
        (("plugins", 2), 5, 3),
        (("plugins", 2, "q"), 5, 9),
        (("plugins", 2, "r", 1), 6, 13),
        (("board", "lad der"), 8, 1),
        (("board", KeyName("lad der")), 8, 8),
        (("board", "lad der", "red", "r0"), 9, 14),
        (("board", "lad der", "red", "r1", "z"), 9, 28),
        (("board", "memory"), 11, 1),
        (("board", "memory", 0), 11, 1),
        (("board", "memory", 0, "name"), 12, 8),
        (("board", "memory", 0, "address", 1), 14, 4),
        (("board", "memory", 1), 15, 1),
        (("board", "memory", 1, "name"), 16, 8),
        (("board", "memory", 1, "packing", "pixels"), 18, 12),
        (("board", "memory", 1, "more"), 20, 3),
        (("board", "memory", 1, "more", "x"), 21, 7),
        (("board", "memory", 1, "more", "deep", 0, "y"), 23, 5),
        # what is not there: the last part that is
        (("board", "memory", 1, "part"), 15, 1),
        (("board", "memory", 7), 11, 1),
        (("board", "lad der", "red", "r1", "z", "deeper"), 9, 28),
        (("missing",), 1, 1),
    ],
)
def test_places_in_a_text(where: tuple[str | int, ...], line: int, column: int) -> None:
    tomli.loads(TEXT)
    assert Positions(TEXT).of(where) == (line, column)


def test_a_heading_after_its_subtable_is_the_place_of_the_table() -> None:
    assert Positions("[a.b]\nx = 1\n[a]\ny = 2\n").of(("a",)) == (3, 1)


def test_columns_count_characters() -> None:
    assert Positions('a = { "ü€𝄞" = 1, b = 2 }').of(("a", "b")) == (1, 22)


class Writer:
    """Writes random TOML 1.1, and knows the path of each value; each value is a text found nowhere else."""

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.values: dict[tuple[str | int, ...], str] = {}
        self.keys: dict[tuple[str | int, ...], str] = {}
        self.count = 0

    def space(self, *, lines: bool) -> str:
        kinds = ["", " ", "  "] + ["\n", "\n   ", " # } ] \" ' , {\n", "# é\n\t"] * lines
        return self.chance.choice(kinds)

    def key(self, where: tuple[str | int, ...]) -> tuple[str, str]:
        self.count += 1
        name = f"k{self.count}"
        if self.chance.random() < 0.3:
            name += self.chance.choice([" x", ".", "é", "#", "]"])
            text = self.chance.choice(['"{}"', "'{}'"]).format(name)
        else:
            text = name
        self.keys[(*where, name)] = text
        return name, text

    def value(self, where: tuple[str | int, ...], depth: int) -> str:
        kind = self.chance.choice(["text", "text", "array", "table"]) if depth else "text"
        if kind == "array":
            items = [self.value((*where, index), depth - 1) for index in range(self.chance.randint(0, 3))]
            return "[" + self.joined(items) + "]"
        if kind == "table":
            return "{" + self.joined([self.pair(where, depth - 1) for _ in range(self.chance.randint(0, 3))]) + "}"
        self.count += 1
        filler = self.chance.choice(["", " # ", "[", "}", ",", "é", "\\\\", '\\"', "\\e", "\\x41", "{"])
        quotes = self.chance.choice(['"', '"""', "'", "'''"])
        if quotes[0] == "'":
            filler = filler.replace("\\", "/")
        if len(quotes) == 3:
            filler += self.chance.choice(["", "\n", "\n\n x"])
        text = f"{quotes}v{self.count}{filler} {quotes}"
        self.values[where] = text
        return text

    def joined(self, parts: list[str]) -> str:
        text = ""
        for index, part in enumerate(parts):
            comma = "," if index < len(parts) - 1 or self.chance.random() < 0.5 else ""
            text += self.space(lines=True) + part + self.space(lines=True) + comma
        return text + self.space(lines=True)

    def pair(self, where: tuple[str | int, ...], depth: int) -> str:
        texts = []
        for _ in range(self.chance.choice([1, 1, 2])):
            name, text = self.key(where)
            where = (*where, name)
            texts.append(text)
        dot = self.space(lines=False) + "." + self.space(lines=False)
        return dot.join(texts) + self.space(lines=False) + "=" + self.space(lines=False) + self.value(where, depth)

    def document(self) -> str:
        text = "".join(
            self.pair((), 3) + self.chance.choice(["\n", " # x\n"]) for _ in range(self.chance.randint(0, 4))
        )
        arrays: dict[str, int] = {}
        for _ in range(self.chance.randint(0, 5)):
            if arrays and self.chance.random() < 0.5:
                name = self.chance.choice(list(arrays))
                arrays[name] += 1
                heading, where = f"[[{name}]]", (name, arrays[name])
            elif self.chance.random() < 0.5:
                self.count += 1
                name = f"list{self.count}"
                arrays[name] = 0
                heading, where = f"[[ {name} ]]", (name, 0)
            else:
                self.count += 1
                where = (f"outer{self.count}", f"inner{self.count}")
                heading = f"[{'.'.join(where)}]"
            text += heading + self.chance.choice(["\n", " # ]\n"])
            text += "".join(self.pair(where, 2) + "\n" for _ in range(self.chance.randint(0, 3)))
        return text


@given(st.randoms(use_true_random=False))
def test_every_value_and_key_is_found(chance: random.Random) -> None:
    writer = Writer(chance)
    text = writer.document()
    data = tomli.loads(text)
    positions = Positions(text)
    for where, shown in writer.values.items():
        value = data
        for part in where:
            value = value[part]
        assert isinstance(value, str)
        assert positions.of(where) == place(text, shown)
    for where, shown in writer.keys.items():
        assert positions.of((*where[:-1], KeyName(where[-1]))) == place(text, shown)


def place(text: str, part: str) -> tuple[int, int]:
    """Line and column of a part that occurs once; a key may be the beginning of a longer one."""
    at = text.index(part)
    before = text[:at]
    return before.count("\n") + 1, at - before.rfind("\n")
