from __future__ import annotations

from collections.abc import Callable

import pytest

Complaints = Callable[[str], list[str]]
Spoil = Callable[..., str]

# Each case: what is replaced in the good recipe; the errors: the text at whose place each is reported, and its message.
BAD: dict[str, tuple[list[tuple[str, str]], list[tuple[str, str]]]] = {
    "unknown key": (
        [('blanking = "output-enable"', 'blanking = "output-enable"\nclok = 3')],
        [("clok", "[board] has no key 'clok'; did you mean 'clock'?")],
    ),
    "unknown table": (
        [("[project]", "[projekt]")],
        [("projekt]", "the recipe has no key 'projekt'; did you mean 'project'?")],
    ),
    "key in the wrong table": (
        [('blanking = "output-enable"', "x_start = 3")],
        [("x_start", "[board] has no key 'x_start'; it belongs in [board.counters]")],
    ),
    "table in the wrong place": (
        [("[board.ladder]", "[ladder]")],
        [
            ("[board]", "[board] lacks the key 'ladder'; add [board.ladder] with supply, red, green and blue"),
            ("ladder]", "the recipe has no key 'ladder'; write [board.ladder]"),
        ],
    ),
    "missing keys": (
        [('supply = "5 V"\n', ""), ('clock = "25.175 MHz"\n', ""), ("format = 1\n", "")],
        [
            ("plugins", "the recipe lacks the key 'format'; add format = 1"),
            ("[board]", "[board] lacks the key 'clock'; add clock = \"25.175 MHz\""),
            ("[board.ladder]", "[board.ladder] lacks the key 'supply'; add supply = \"5 V\""),
        ],
    ),
    "bad value": (
        [('"output-enable"', '"output_enable"')],
        [('"output_enable"', "blanking is 'output_enable', which is not known; did you mean 'output-enable'?")],
    ),
    "unknown mode": (
        [("640x480@60", "640x480@6O")],
        [('"640x480@6O"', "mode is '640x480@6O', which is not a known mode; did you mean '640x480@60'?")],
    ),
    "unknown part": (
        [("27C010", "27C01O")],
        [
            (
                '"27C01O"',
                "part is '27C01O', which is not a known part; did you mean '27C010'?"
                " Otherwise give words and width instead of part",
            )
        ],
    ),
    "booleans where numbers are meant": (
        [
            ('"25.175 MHz"', "true"),
            ('access = "120 ns"', "access = true\nchips = true\nfill = false"),
            ('"680"', "true"),
            ("bank = 3", "bank = false # no"),
            ("0.5", "false"),
        ],
        [
            ("true\nblanking", 'clock is true, not a frequency; write a frequency such as "25.175 MHz"'),
            ("true\nchips", 'access is true, not a time; write a time such as "120 ns"'),
            ("true\nfill", "chips is true, not a number; use a whole number from 1 to 64"),
            ("false\naddress", "fill is false, not a number; use a whole number from 0 to 4294967295"),
            (
                "true }",
                'b1 is true, not a resistance; write a resistance such as "75 ohm", "4k7" or "470R"',
            ),
            ("false }", "stage 'glow': strength is false, not a number; use a number from 0 to 1"),
            ("false # no", "bank is false, not a number; use a whole number of 0 or more"),
        ],
    ),
    "wrong types": (
        [
            ('"Merrowhithe"', "3"),
            ('["lantern.py"]', '["lantern.py", 1]'),
            ('address = ["x2-x9"', 'address = [["x2-x9"]'),
            ('["pictures/*.jpg", "pictures/*.png"]', '"pictures/*.jpg"'),
            ('"made"', "2024-01-01"),
        ],
        [
            ("1]", 'entry 2 of plugins is the number 1; put it in quotes: "1"'),
            ("3\n", 'name is the number 3; put it in quotes: "3"'),
            ("2024", "output is a date or time; use a text in quotes"),
            ('["x2-x9"]', "entry 1 of address is a list; use a text in quotes"),
            ('"pictures/*.jpg"', "files is the text 'pictures/*.jpg'; put it in brackets: [\"pictures/*.jpg\"]"),
        ],
    ),
    "brackets": (
        [("[[board.memory]]", "[board.memory]")],
        [("[board.memory]", "memory is a single table; write [[board.memory]]")],
    ),
    "out of range": (
        [
            ('"25.175 MHz"', "25.175"),
            ('"120 ns"', "120"),
            ('"680"', '"0R"'),
            ('supply = "5 V"', 'supply = "5 V"\ntolerance = 5'),
            ("0.5", "1.5"),
        ],
        [
            ("25.175", "clock is 25.175 Hz, which is out of range; use a frequency from 1 kHz to 1 GHz"),
            ("120", "access is 120 s, which is out of range; use a time from 0 s to 1 ms"),
            ("5\nred", "tolerance is 500 %, which is out of range; use a share from 0 % to 50 %"),
            ('"0R"', "b1 is '0R', which is out of range; use a resistance above 0 ohm and up to 1 Gohm"),
            ("1.5 }", "stage 'glow': strength is 1.5, which is out of range; use a number from 0 to 1"),
        ],
    ),
    "lines": (
        [('"x2-x9"', '"x2..x9"'), ('"b0"', '"x1"')],
        [
            (
                '"x2..x9"',
                "entry 1 of address is 'x2..x9', which is not a line; "
                "write x3, x2-x9, !y8, x2^map.d7, map.d0-map.d7, low or high",
            ),
            (
                '"x1"',
                "entry 1 of data is 'x1', which is a counter's bit; give what the pin drives another name, such as r0",
            ),
        ],
    ),
    "capacity given twice": (
        [('part = "27C010"', 'part = "27C010"\nwords = 131072')],
        [("131072", "memory 'picture' has both part and words; a part has its own; leave out part, or words")],
    ),
    "capacity not given": (
        [('part = "27C010"\n', "")],
        [
            (
                "[[board.memory]]",
                "memory 'picture' lacks its part; add part = \"27C010\" or the like, or words and width",
            )
        ],
    ),
    "capacity of no memory": (
        [('part = "27C010"', "words = 100000\nwidth = 8")],
        [("100000", "words is 100000, which is not a power of two; use 65536 or 131072")],
    ),
    "impossible wiring": (
        [('"bank0-bank1"]', '"bank0-bank3"]'), ('r2 = "750" }', 'r3 = "750" }'), ('"y2-y8"', '"y2-y10"')],
        [
            ('["x2-x9"', "27C010 has 17 address lines, but 21 are listed; ..."),
            ('"y2-y10"', "A16: y10 never changes: the y counter counts 0 to 524; use y0 to y9, or low"),
            (
                '"r0-r2"',
                "nothing uses line 'r2'; use one of b0, b1, g0, g1, g2, r0, r1, r3"
                ' or write "-" for a pin that drives nothing',
            ),
            (
                '"750" }\ngreen',
                "no memory's data pin drives ladder line 'r3'; list it in a memory's data, or use one of"
                " b0, b1, g0, g1, g2, r0, r1, r2",
            ),
        ],
    ),
    "wiring is checked though other things are wrong": (
        [
            ('"bank0-bank1"]', '"bank0-bank3"]\nacess = 3'),
            ('"output-enable"', "3"),
            ('"680"', '"68O"'),
            ('use = "flatten"', 'use = "flaten"'),
        ],
        [
            (
                "3\n\n[[board",
                'blanking is 3; use one of "output-enable" (the memories\' outputs are disabled '
                "and the load pulls to 0 V), "
                '"register" (the output registers are cleared to code 0), "gate" (gates force the lines to code 0), '
                '"none" (the memories are read on)',
            ),
            ('["x2-x9"', "27C010 has 17 address lines, but 19 are listed; ..."),
            ("acess", "[[board.memory]] has no key 'acess'; did you mean 'access'?"),
            ('"68O"', 'b1 is \'68O\', which is not a resistance; write a resistance such as "75 ohm", "4k7" or "470R"'),
            ('"flaten"', "no stage is called 'flaten'; did you mean 'flatten'?"),
        ],
    ),
    "grey and colours": (
        [('supply = "5 V"', 'supply = "5 V"\ngrey = { r0 = "1k" }')],
        [
            (
                '{ r0 = "1k" }',
                "grey feeds all three guns, but there is red, green and blue as well;"
                " keep grey alone, or red, green and blue",
            )
        ],
    ),
    "R-2R ladder": (
        [('{ b0 = "1k3", b1 = "680" }', '{ r2r = "330", lines = ["b0-b1",\n "b7"] }')],
        [
            (
                '"b7"',
                "no memory's data pin drives ladder line 'b7'; list it in a memory's data, or use one of"
                " b0, b1, g0, g1, g2, r0, r1, r2",
            )
        ],
    ),
    "missing files": (
        [
            ('"lantern.py"', '"lantern.py", "lamp.py"'),
            ('"pictures/*.jpg"', '"pictures/*.jpeg"'),
            ('"pictures/*.png"', '"pictures/night-3.png"'),
        ],
        [
            ('"lamp.py"', "there is no file 'lamp.py'; check the path; it is relative to the recipe"),
            (
                '"pictures/*.jpeg"',
                "'pictures/*.jpeg' matches no file; check the pattern; the folder holds 3 .jpg, 2 .png",
            ),
            ('"pictures/night-3.png"', "there is no file 'pictures/night-3.png'; did you mean 'pictures/night-2.png'?"),
        ],
    ),
    "unknown stage": (
        [('use = "glow"', 'use = "glw"')],
        [('"glw"', "no stage is called 'glw'; did you mean 'glow'?")],
    ),
    "stage options": (
        [('tint = "warm"', 'tint = "worm"\nstrenght = 2\nflicker = "3 V"')],
        [
            ('"worm"', "stage 'glow': tint is 'worm', which is not known; did you mean 'warm'?"),
            ("strenght", "stage 'glow' has no option 'strenght'; did you mean 'strength'?"),
            ('"3 V"', "stage 'glow': flicker is '3 V', which is not a time; write a time such as \"120 ns\""),
        ],
    ),
    "stages in the wrong order": (
        [('use = "flatten"', 'use = "flat"'), ('use = "stack"', 'use = "flatten"'), ('use = "flat"', 'use = "stack"')],
        [
            (
                '"flatten"',
                "stage 'flatten' (picture to coded picture) cannot follow 'stack' (coded pictures to contents);"
                " put 'flatten' before 'stack'",
            )
        ],
    ),
    "a chain without an end": (
        [('[[stage]]\nuse = "dump"\n', "")],
        [("[[stage]]", 'the chain has no stage from contents to device files; add use = "binary"')],
    ),
    "overrides": (
        [
            (
                "glow = { strength = 0.5 }",
                'glow = { strength = 2, tnt = "warm" }\nstack = { order = "down" }\nflow = {}\nread = 3',
            )
        ],
        [
            ("2, tnt", "stage 'glow': strength is 2, which is out of range; use a number from 0 to 1"),
            ("tnt", "stage 'glow' has no option 'tnt'; did you mean 'tint'?"),
            (
                "stack = {",
                "stage 'stack' (coded pictures to contents) sees all pictures together and has the same options"
                ' for all; set them in its [[stage]] table, use = "stack"',
            ),
            ("flow = {", "the chain has no stage 'flow' to override; did you mean 'glow'?"),
            ("3\nbank", "read must be a table of the stage's options; write read = { option = value }"),
        ],
    ),
    "an override for no picture": (
        [('"night-*.png"', '"nite-1.png"'), ("bank = 3", "bank = 4")],
        [
            ('"nite-1.png"', "'nite-1.png' matches no picture; did you mean 'night-1.png'?"),
            ("4\n", "bank is 4, but the wiring has 4 banks; use 0 to 3"),
        ],
    ),
    "a bank without bank lines": (
        [(', "bank0-bank1"', "")],
        [("3\n", "bank is 3, but the wiring has no bank lines; leave it out")],
    ),
    "what stands in misspelt and misplaced tables": (
        [
            ("[project]", "[projekt]"),
            ('"Merrowhithe"', "3"),
            ("[board.ladder]", "[ladder]"),
            ('"680"', '"68O"'),
            ("[[board.memory]]", "[board.memory]"),
            ("27C010", "27C01O"),
            ('"bank0-bank1"]', '"bank0-bank3"]'),
            ('use = "glow"', 'use = "glw"'),
            ('"warm"', '"worm"'),
            ("glow = {", "glov = {"),
            ("0.5", "true"),
        ],
        [
            ("projekt]", "the recipe has no key 'projekt'; did you mean 'project'?"),
            ("3\noutput", 'name is the number 3; put it in quotes: "3"'),
            ("[board]", "[board] lacks the key 'ladder'; add [board.ladder] with supply, red, green and blue"),
            ("[board.memory]", "memory is a single table; write [[board.memory]]"),
            (
                '"27C01O"',
                "part is '27C01O', which is not a known part; did you mean '27C010'?"
                " Otherwise give words and width instead of part",
            ),
            ('["x2-x9"', "27C010 has 17 address lines, but 19 are listed; ..."),
            ("ladder]", "the recipe has no key 'ladder'; write [board.ladder]"),
            ('"68O"', 'b1 is \'68O\', which is not a resistance; write a resistance such as "75 ohm", "4k7" or "470R"'),
            ('"glw"', "no stage is called 'glw'; did you mean 'glow'?"),
            ('"worm"', "stage 'glow': tint is 'worm', which is not known; did you mean 'warm'?"),
            ("glov", "the chain has no stage 'glov' to override; did you mean 'glow'?"),
            ("true }", "stage 'glow': strength is true, not a number; use a number from 0 to 1"),
        ],
    ),
    "lines outside of a channel": (
        [('red = { r0 = "3k3", r1 = "1k6", r2 = "750" }', 'r0 = "3k3"')],
        [
            (
                'r0 = "3k3"',
                "[board.ladder] has no key 'r0'; a line belongs in red, green, blue or grey,"
                ' such as red = { r0 = "1k3", r1 = "680" }',
            )
        ],
    ),
    "several errors in one R-2R ladder": (
        [('{ b0 = "1k3", b1 = "680" }', '{ r2r = true, b7 = "680" }')],
        [
            ("{ r2r", '[board.ladder.blue] lacks the key \'lines\'; add lines = ["r0", "r1"]'),
            ("true", 'r2r is true, not a resistance; write a resistance such as "75 ohm", "4k7" or "470R"'),
            ("b7", "[board.ladder.blue] has no key 'b7'; use one of lines, r2r, rung"),
        ],
    ),
    "names in the place of stages": (
        [
            ("format = 1\n", 'format = 1\npicture = ["x"]\n'),
            (
                """[[picture]]
match = "night-*.png"
glow = { strength = 0.5 }
bank = 3
""",
                "",
            ),
        ],
        [('"x"', "entry 1 of picture is the text 'x'; write [[picture]] and its keys below")],
    ),
    "the viewing": (
        [("[pictures]\n", '[viewing]\ndistance = "1.5"\nscreen_width = "4 mm"\n\n[pictures]\n')],
        [
            ('"1.5"', "distance is '1.5', which has no unit; write a length such as \"1.5 m\""),
            ('"4 mm"', "screen_width is '4 mm', which is out of range; use a length from 1 cm to 100 m"),
        ],
    ),
    "a viewing without distance": (
        [("[pictures]\n", "[viewing]\nscreen_width = 0.3\n\n[pictures]\n")],
        [("[viewing]", "[viewing] lacks the key 'distance'; add distance = \"1.5 m\"")],
    ),
    "the output folder": (
        [('"made"', '"pictures"')],
        [
            (
                '"pictures"\n',
                "picture 'pictures/day-1.jpg' lies in the output folder, which a build replaces; name another folder",
            )
        ],
    ),
    "the output is above": (
        [('"made"', '".."')],
        [('".."', "output '..' is the recipe's own folder or holds it; name a folder such as \"out\"")],
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_recipe(complaints: Complaints, spoil: Spoil, name: str) -> None:
    changes, errors = BAD[name]
    text = spoil(*changes)
    expected = []
    for at, message in errors:
        before = text[: text.index(at)]
        expected.append(f"recipe.toml:{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}: {message}")
    lines = complaints(text)
    # Where a message ends with dots, the board's own checks go on with advice.
    assert [
        line[: len(want) - 3] + "..." if want.endswith("...") else line
        for line, want in zip(lines, expected, strict=True)
    ] == expected
