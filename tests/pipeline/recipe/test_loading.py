from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from ladderlight import Viewing
from ladderlight.board import PARTS, Axis, Channel, Counters, Packing, Part
from ladderlight.errors import RecipeError
from ladderlight.recipe import Recipe, load

Reader = Callable[[str], Recipe]
Complaints = Callable[[str], list[str]]
Spoil = Callable[..., str]


def test_a_good_recipe(read: Reader, text: str, project: Path) -> None:
    recipe = read(text)
    assert (recipe.name, recipe.path, recipe.folder) == ("Merrowhithe", project / "recipe.toml", project)
    assert recipe.output == project / "made"
    assert recipe.plugins == (project / "lantern.py",)
    assert [file.source for file in recipe.files] == [
        "pictures/day-1.jpg",
        "pictures/day-2.jpg",
        "pictures/day-10.jpg",
        "pictures/night-1.png",
        "pictures/night-2.png",
    ]
    assert all(file.path == project / file.source for file in recipe.files)
    board = recipe.board
    assert board.raster.clock == Fraction(25_175_000)
    assert board.raster.mode.name == "640x480@60"
    assert board.blanking == "output-enable"
    assert (board.geometry.width, board.geometry.height, board.bank_count) == (160, 120, 4)
    (memory,) = board.memories
    assert (memory.name, memory.part, memory.access) == ("picture", PARTS["27C010"], 120e-9)
    assert [str(pin) for pin in memory.address[:3]] == ["x2", "x3", "x4"]
    assert memory.data == ("b0", "b1", "g0", "g1", "g2", "r0", "r1", "r2")
    assert board.ladder.channels[0] == Channel(name="red", resistors={"r0": 3300, "r1": 1600, "r2": 750}, guns=(0,))
    assert (board.ladder.load, board.ladder.peak, board.ladder.tolerance) == (75, 0.7, 0)


def test_the_chain_and_its_overrides(read: Reader, text: str) -> None:
    recipe = read(text)
    # A chain without a source begins with the reading of files.
    assert [use.declaration.name for use in recipe.chain] == ["read", "glow", "flatten", "stack", "dump"]
    defaults = {"strength": 1.0, "flicker": 0.0}
    assert recipe.chain[1].options == {"tint": "warm", **defaults}
    day, night = recipe.files[0], recipe.files[3]
    assert recipe.options_for(day, 1) == {"tint": "warm", **defaults}
    assert recipe.options_for(night, 1) == {"tint": "warm", "strength": 0.5, "flicker": 0.0}
    assert recipe.options_for(night, 2) == {}
    assert (recipe.bank_for(day), recipe.bank_for(night)) == (None, 3)


def test_a_later_override_wins(read: Reader, text: str) -> None:
    more = '[[picture]]\nmatch = "pictures/night-2*"\nglow = { strength = 0.2, flicker = "20 ms" }\nbank = 1\n'
    recipe = read(text + more + '[[picture]]\nmatch = "*.png"\nglow = { tint = "cold" }\n')
    first, second = recipe.files[3:]
    assert recipe.options_for(first, 1) == {"tint": "cold", "strength": 0.5, "flicker": 0.0}
    assert recipe.options_for(second, 1) == {"tint": "cold", "strength": 0.2, "flicker": 0.02}
    assert (recipe.bank_for(first), recipe.bank_for(second)) == (3, 1)


def test_a_picture_is_named_by_its_name_with_brackets(read: Reader, spoil: Spoil, project: Path) -> None:
    for name in ("Wald [west] 10.webp", "Wald w 10.webp"):
        (project / "pictures" / name).write_bytes(b"")
    files = ('"pictures/*.png"]', '"pictures/*.png", "pictures/*.webp"]')
    recipe = read(spoil(files, ('match = "night-*.png"', 'match = "Wald [west] 10.webp"')))
    banks = {file.source.rpartition("/")[2]: recipe.bank_for(file) for file in recipe.files[-2:]}
    assert banks == {"Wald w 10.webp": None, "Wald [west] 10.webp": 3}


def test_pictures_can_be_left_out(read: Reader, complaints: Complaints, spoil: Spoil) -> None:
    recipe = read(spoil(('"pictures/*.png"]', '"pictures/*.png", "!pictures/day-1*", "!draft-*"]')))
    assert [file.source for file in recipe.files] == [
        f"pictures/{n}" for n in ("day-2.jpg", "night-1.png", "night-2.png")
    ]
    assert [(found.level, found.where, found.message) for found in recipe.cautions] == [
        ("caution", "pictures", "'!draft-*' leaves out nothing; check the pattern, or leave it out")
    ]
    assert complaints(
        spoil(('"pictures/*.png"]', '"pictures/*.png", "!pictures/*"]'), ('match = "night-*.png"', 'match = "*"'))
    ) == ['recipe.toml:27:9: no picture is left; list some before what "!" leaves out']


def test_a_source_of_the_recipe_stands_first(read: Reader, spoil: Spoil) -> None:
    recipe = read(spoil(('[[stage]]\nuse = "glow"', '[[stage]]\nuse = "fetch"\n\n[[stage]]\nuse = "glow"')))
    assert [use.declaration.name for use in recipe.chain] == ["fetch", "glow", "flatten", "stack", "dump"]


def test_without_stages_there_is_a_chain(read: Reader, text: str) -> None:
    recipe = read(text[: text.index("[[stage]]")])
    names = [use.declaration.name for use in recipe.chain]
    assert names == ["read", "crop", "resize", "diffuse", "bank_pictures", "binary"]
    assert all(use.options == use.declaration.complete({}) for use in recipe.chain)
    assert recipe.chain[2].options["method"] == "lanczos"


def test_what_may_be_left_out(read: Reader, spoil: Spoil, project: Path) -> None:
    recipe = read(spoil(('[project]\nname = "Merrowhithe"\noutput = "made"\n', "")))
    assert (recipe.name, recipe.output) == ("recipe", project / "out")


def test_from_where_the_screen_is_looked_at(read: Reader, text: str) -> None:
    assert read(text).viewing == Viewing()
    more = '\n[viewing]\ndistance = "2.4 m"\n'
    assert read(text + more).viewing == Viewing(distance=2.4, screen_width=0.3)
    assert read(text + more + 'screen_width = "32 cm"\n').viewing == Viewing(distance=2.4, screen_width=0.32)


def test_a_board_with_everything(read: Reader, spoil: Spoil) -> None:
    recipe = read(
        spoil(
            (
                'mode = "640x480@60"',
                """mode = { dot_clock = "25.2 MHz", horizontal = [640, 16, 96, 48], # a comment
    vertical = [480, 10, 2, 33], polarity = "+ -", aspect = "16:9",
}
counters = { x_start = 8, y_start = 2, x_reset = 1, y_reset = 0, delay = "22 ns", blanking_delay = 4 }""",
            ),
            ('part = "27C010"', 'words = "32 KiB"\nwidth = 16\nchips = 4\nfill = 0x1234\noutput = "register"'),
            ('"bank0-bank1"]', '"low"]\npacking = { pixels = 2, order = "lsb_first" }'),
            (
                'supply = "5 V"',
                'supply = 3.3\nload = 50\npeak = "1 V"\ndriver = { high = "50", low = "30R" }\nlow = "driven"',
            ),
            (
                'red = { r0 = "3k3", r1 = "1k6", r2 = "750" }',
                'tolerance = "5 %"\nred = { r2r = "330", lines = ["r0-r2"] }',
            ),
            ("bank = 3\n", ""),
        )
    )
    board, memory = recipe.board, recipe.board.memories[0]
    mode = board.raster.mode
    assert (mode.name, mode.dot_clock, mode.screen_aspect) == ("640x480@60", Fraction(25_200_000), Fraction(16, 9))
    assert mode.horizontal == Axis(active=640, front_porch=16, sync=96, back_porch=48, positive=True)
    assert mode.vertical == Axis(active=480, front_porch=10, sync=2, back_porch=33, positive=False)
    counters = Counters(x_start=8, y_start=2, x_reset=1, y_reset=0, delay=22e-9, blanking_delay=4)
    assert board.counters == counters
    assert memory.part == Part(number="16384x16", words=16384, width=16)
    assert (memory.chips, memory.fill, memory.output) == (4, 0x1234, "register")
    assert memory.packing == Packing(pixels=2, order="lsb_first")
    ladder = board.ladder
    assert (ladder.supply, ladder.load, ladder.peak, ladder.tolerance) == (3.3, 50, 1, 0.05)
    assert (ladder.driver_high, ladder.driver_low) == (50, 30)
    assert ladder.channels[0] == Channel(name="red", resistors={"r0": 660, "r1": 660, "r2": 660}, guns=(0,), r2r=330)


def test_counts_that_the_counters_cannot_have_are_named_at_their_places(complaints: Complaints, spoil: Spoil) -> None:
    text = spoil(('blanking = "output-enable"', "counters = { x_start = 161, x_reset = 0, blanking_delay = 800 }"))
    reset, delayed = complaints(text)
    assert "x_reset is 0, so the reset falls within the picture, which begins at 161; use a count at most" in reset
    assert "blanking_delay is 800, and a line has 800 counts; use 0 to 799" in delayed
    (clock,) = complaints(text.replace('clock = "25.175 MHz"', "clock = true"))  # how many counts is not known then
    assert "clock is true" in clock


def test_a_grey_board_with_floating_lows(read: Reader, spoil: Spoil) -> None:
    recipe = read(
        spoil(
            ('["b0", "b1", "g0-g2", "r0-r2"]', '["k0", "k1"]'),
            ('red = { r0 = "3k3", r1 = "1k6", r2 = "750" }\n', 'driver = "30 ohm"\nlow = "floating"\n'),
            ('green = { g0 = "3k3", g1 = "1k6", g2 = "750" }\n', ""),
            ('blue = { b0 = "1k3", b1 = "680" }', 'grey = { k0 = "1k3", k1 = "680" }'),
        )
    )
    ladder = recipe.board.ladder
    assert ladder.channels == (Channel(name="grey", resistors={"k0": 1300, "k1": 680}, guns=(0, 1, 2)),)
    assert (ladder.driver_high, ladder.driver_low) == (30, math.inf)


BOARD = """\
mode = "640x480@60"
clock = "25.175 MHz"
ladder = { supply = "5 V", grey = { k0 = "680" } }
[[memory]]
name = "picture"
part = "27C256"
address = ["x2-x9", "y2-y8"]
data = ["k0"]
"""
SHORT = 'format = 1\nboard = "boards/lobby.toml"\n[pictures]\nfiles = ["pictures/*.png"]\n'


def test_a_board_file(read: Reader, project: Path) -> None:
    (project / "boards").mkdir()
    (project / "boards" / "lobby.toml").write_text(BOARD, encoding="utf-8")
    assert read(SHORT).board.memories[0].part.number == "27C256"
    # The board's part of a recipe can be moved into a file of its own as it stands.
    text = BOARD.replace("[[memory]]", "[[board.memory]]")
    (project / "boards" / "lobby.toml").write_text("[board]\n" + text, encoding="utf-8")
    assert read(SHORT).board.memories[0].part.number == "27C256"


def test_errors_of_a_board_file_are_at_its_places(complaints: Complaints, project: Path) -> None:
    (project / "boards").mkdir()
    board = project / "boards" / "lobby.toml"
    board.write_text(BOARD.replace('"25.175 MHz"', "true").replace('"k0"]', '"k0", "k1"]'), encoding="utf-8")
    assert complaints(SHORT.replace("1\n", "3\n", 1)) == [
        "recipe.toml:1:10: format is 3; use 1, the format that this version reads",
        'boards/lobby.toml:2:9: clock is true, not a frequency; write a frequency such as "25.175 MHz"',
        "boards/lobby.toml:8:15: nothing uses line 'k1'; use k0 or write \"-\" for a pin that drives nothing",
    ]
    board.write_text("[board]\nmode = 3\n", encoding="utf-8")
    assert complaints(SHORT)[-1] == 'boards/lobby.toml:2:8: mode is the number 3; put it in quotes: "3"'
    board.write_text("mode = \n", encoding="utf-8")
    assert complaints(SHORT) == [
        "boards/lobby.toml:1:8: this is not a value; put a text in quotes; write true and false in small letters"
    ]
    board.unlink()
    assert complaints(SHORT) == [
        "recipe.toml:2:9: there is no file 'boards/lobby.toml'; check the path; it is relative to the recipe"
    ]


def test_a_recipe_is_no_board_file(complaints: Complaints) -> None:
    assert complaints(SHORT.replace("boards/lobby.toml", "recipe.toml") + "[project]\n") == [
        "recipe.toml:2:9: 'recipe.toml' has a [board] and other tables;"
        " name a file that describes a board and nothing else"
    ]


def test_files_are_shown_as_they_were_given(project: Path, text: str) -> None:
    (project / "deep").mkdir()
    (project / "deep" / "it.toml").write_text('format = 1\nboard = "b.toml"\n', encoding="utf-8")
    (project / "deep" / "b.toml").write_text("x = 1\n", encoding="utf-8")
    with pytest.raises(RecipeError) as caught:
        load(Path("deep/it.toml"), pictures="ignored")
    assert {line.partition(":")[0] for line in str(caught.value).splitlines()} == {"deep/b.toml"}


def test_pictures_needed_checked_or_ignored(project: Path, text: str) -> None:
    path = project / "recipe.toml"
    listed = 'files = ["pictures/*.jpg", "pictures/*.png"]'
    path.write_text(text.replace(f"[pictures]\n{listed}\n", ""), encoding="utf-8")
    assert load(path, pictures="ignored").files == ()
    assert load(path, pictures="checked").files == ()
    with pytest.raises(RecipeError, match="has no pictures; add"):
        load(path)
    path.write_text(text.replace(listed, 'files = ["pictures/*.jpg", "pictures/*.gif"]'), encoding="utf-8")
    assert len(load(path, pictures="ignored").files) == 3  # and none that the override matches
    with pytest.raises(RecipeError, match="matches no file"):
        load(path, pictures="checked")


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
