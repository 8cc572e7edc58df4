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
