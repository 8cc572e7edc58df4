"""What stages say of their options together, at the place in the recipe, before any picture is opened."""

from __future__ import annotations

from pathlib import Path

import pytest

from ladderlight.errors import RecipeError
from ladderlight.recipe import load
from ladderlight.recipe.loading import Pictures

HEAD = """format = 1
plugins = ["pair.py"]

[board]
mode = "640x480@60"
clock = "25.175 MHz"

[[board.memory]]
name = "picture"
words = 32768
width = 16
address = ["x2-x9", "y2-y8"]
data = ["b0-b1", "g0-g1", "r0-r1"]

[board.ladder]
supply = "5 V"
red = { r0 = "1k3", r1 = "680" }
green = { g0 = "1k3", g1 = "680" }
blue = { b0 = "1k3", b1 = "680" }

[pictures]
files = ["*.pgm"]
"""
LINES = HEAD.count("\n")

PAIR = """
from typing import Annotated
from ladderlight import Option, Picture, Problem, stage


def ordered(board, options):
    if options["low"] > options["high"]:
        yield Problem(where=("low",), what=f"low {options['low']} is above high", action="exchange them")
    if options["high"] == 9:
        raise ZeroDivisionError("nine")


@stage(help="Take a pair.", rule=ordered)
def pair(picture: Picture, *, low: Annotated[int, Option("the low one")] = 0,
         high: Annotated[int, Option("the high one")] = 5) -> Picture:
    return picture
"""


@pytest.fixture
def errors(tmp_path: Path):
    """Read a recipe and give its errors, each without the recipe's path and with lines counted after the head.

    The pictures are no pictures: whatever opens one fails.
    """
    (tmp_path / "pair.py").write_text(PAIR, encoding="utf-8")
    for name in ("day-1.pgm", "day-2.pgm", "night-1.pgm"):
        (tmp_path / name).write_text("not a picture", encoding="utf-8")

    def read(text: str, pictures: Pictures = "checked", head: str = HEAD) -> list[str]:
        path = tmp_path / "recipe.toml"
        path.write_text(head + text, encoding="utf-8")
        try:
            load(path, pictures=pictures)
        except RecipeError as error:
            found = []
            for line in str(error).splitlines():
                number, column, message = line.removeprefix(f"{path}:").split(":", 2)
                found.append(f"{int(number) - LINES}:{column}:{message}")
            return found
        return []

    return read


def chain(*stages: str) -> str:
    """Write a chain with one stage in the place of that of its kind in the default one."""
    names = {"emission": "binary", "arrangement": "bank_pictures", "reduction": "nearest", "picture": ""}
    used = dict(names)
    for stage in stages:
        kind, _, text = stage.partition(":")
        used[kind] = text
    return "".join(
        f"\n[[stage]]\nuse = {text if text.startswith(chr(34)) else f'{chr(34)}{text}{chr(34)}'}\n"
        for kind in ("picture", "reduction", "arrangement", "emission")
        if (text := used[kind])
    )


def test_a_rule_is_asked_with_defaults_and_placed_at_its_option(errors) -> None:
    assert errors(chain('picture:"pair"\nlow = 3')) == []
    assert errors(chain('picture:"pair"\nhigh = 7\nlow = 8')) == [
        "5:7: stage 'pair': low 8 is above high; exchange them"
    ]
    assert errors(chain('picture:"pair"\nhigh = -1')) == ["3:7: stage 'pair': low 0 is above high; exchange them"]


def test_a_rule_of_options_that_are_wrong_by_themselves_is_not_asked(errors) -> None:
    (only,) = errors(chain('picture:"pair"\nlow = 8\nhigh = "x"'))
    assert only.startswith("5:8: stage 'pair': high is the text 'x'; use a whole number")


def test_a_rule_that_fails_says_which(errors) -> None:
    assert errors(chain('picture:"pair"\nhigh = 9')) == [
        "3:7: the rule of stage 'pair' of plugin 'pair.py' failed on its options: ZeroDivisionError: nine; "
        "correct the plugin"
    ]


def override(match: str, text: str) -> str:
    return f'\n[[picture]]\nmatch = "{match}"\npair = {{ {text} }}\n'


def test_overrides_count_as_they_meet_in_a_picture(errors) -> None:
    base = chain('picture:"pair"\nlow = 8')
    last = base.count("\n")
    assert errors(base + override("*.pgm", "high = 8")) == []  # settled for every picture
    assert errors(base + override("day-*.pgm", "high = 8")) == ["4:7: stage 'pair': low 8 is above high; exchange them"]
    both = base + override("*.pgm", "high = 8") + override("day-*.pgm", "low = 10")
    assert errors(both) == [f"{last + 8}:16: stage 'pair': low 10 is above high; exchange them"]
    assert errors(both + override("day-*.pgm", "high = 10")) == []
    good = chain('picture:"pair"')
    assert errors(good + override("day-1.pgm", "high = -1")) == [
        f"{good.count(chr(10)) + 4}:8: stage 'pair': low 0 is above high; exchange them"
    ]


def test_rules_are_asked_for_compare_and_build_too(errors) -> None:
    text = chain('picture:"pair"\nlow = 8')
    expected = ["4:7: stage 'pair': low 8 is above high; exchange them"]
    for pictures in ("needed", "checked", "ignored"):
        assert errors(text, pictures) == expected


@pytest.mark.parametrize(
    ("stage", "message"),
    [
        (
            'emission:"intel_hex"\noffset = 0xFFFF_8000',
            "offset FFFF8000h puts bytes beyond the 4 GiB that Intel HEX can address; use at most FFFF0000h",
        ),
        (
            'emission:"s_record"\naddress_bits = 16\noffset = 1',
            "the last byte is at 10000h, beyond addresses of 16 bits; use more address_bits, or a smaller size or",
        ),
        ('emission:"s_record"\noffset = 0xFFFF_FFFF', "beyond addresses of 32 bits; lower the offset"),
        (
            'emission:"binary"\nsize = 1001',
            "files of 1,001 bytes would cut a word of device 'picture' in two; use a multiple of 2",
        ),
        (
            'emission:"verilog_mem"\nname = "../x.mem"',
            "device file name '../x.mem' leaves its folder or is not portable; use one such as picture.bin",
        ),
        ('emission:"c_array"\nsymbol = "2nd"', "symbol '2nd' is not a C identifier; use letters, digits and under"),
        ('emission:"assembler"\nsize = 3', "files of 3 bytes would cut a word"),
        ('picture:"crop"\nkeep = "focus"', 'keep = "focus" needs a point; add one, such as focus = [0.5, 0.3]'),
        ('picture:"crop"\nkeep = "top"\nfocus = [0, 1]', 'keep = "top" does not go with focus; leave one of them out'),
        ('picture:"crop"\nleft = 0.6\nright = 0.4', "left 0.6 and right 0.4 leave nothing of a picture; take off less"),
        (
            'picture:"tone"\nblack_level = 0.5\nwhite_level = 0.4',
            "black_level 0.5 must lie below white_level 0.4; lower black_level or raise white_level",
        ),
        ('picture:"tone"\nwhite_point = "black"', 'white_point = "black" has no light; choose the colour of something'),
        (
            'reduction:"diffuse"\nweights = [[1], [1, 1]]',
            "weights: a row below has an even number of weights, without a middle; pad it with 0",
        ),
        ('reduction:"few_colours"\ncodes = [64]', "codes: the board has no code 64; use 0 to 63"),
        ('reduction:"few_colours"\ncount = 1\nkeep = [1, 2]', "keep: 2 codes, but count is 1; raise count or keep"),
        ('arrangement:"frames"\nfirst = 1', "the board has 1 bank, and none from 1 on; lower first"),
        ('arrangement:"planes"\nlines = ["q0"]', "plane 1 has 'q0'; the ladders have b0, b1, g0, g1, r0, r1"),
        ('arrangement:"raw"\nmemory = "pictur"\nwords = "0"', "no memory is called 'pictur'; did you mean 'picture'?"),
        ('arrangement:"raw"\nmemory = "picture"', 'needs either file = "..." or words = "..."; write one of them'),
        (
            'arrangement:"raw"\nmemory = "picture"\nwords = "0"\naddress = 32768',
            "address 8000h is beyond memory 'picture', whose last is 7FFFh; lower the address or use a larger part",
        ),
        (
            'arrangement:"tiles"',
            "no memory that drives the ladders is addressed by another one, so the board has no tile map",
        ),
        (
            'arrangement:"lookup"',
            "memory 'picture' drives the ladders and is addressed by counters alone, so the board has",
        ),
        (
            'arrangement:"sheet"\nheight = 129',
            "height 129 is more than the 128 pixels of a cell in this wiring; use",
        ),
        ('arrangement:"text"\nlines = ["A"]', "the board has no tile map to write text into; draw the text as a pict"),
    ],
)
def test_what_is_wrong_with_built_in_stages_together_is_known_before(errors, stage: str, message: str) -> None:
    text = chain(stage)
    (found,) = errors(text)
    line, column, said = found.split(":", 2)
    name = stage.split('"')[1]
    assert said.startswith(f" stage {name!r}: ")
    assert message in said
    assert int(line) > text[: text.index(f'use = "{name}"')].count("\n")  # the line of use, or one below it
    written = text.splitlines()[int(line) - 1]
    assert int(column) - 1 == written.index(" = ") + 3  # the value


def test_files_of_one_name_are_known_before(errors) -> None:
    two_chips = HEAD.replace('"y2-y8"]\n', '"y2-y8", "bank0"]\nchips = 2\n')
    assert errors(chain(), head=two_chips) == []
    text = chain('emission:"binary"\nname = "rom.bin"')
    (found,) = errors(text, head=two_chips)
    assert found.endswith(
        ":8: stage 'binary': several files would be written to devices/rom.bin; put {device} or {piece} into the name"
    )
    assert errors(text.replace("rom.bin", "{device}.bin"), head=two_chips) == []
