"""Recipes whose arrangements need no pictures: words of a file, and lines of text."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.commands import main
from ladderlight.errors import RecipeError
from ladderlight.recipe import load
from ladderlight.stages.chain import check_chain, takes_pictures
from ladderlight.stages.registry import installed_stages
from ladderlight.workspace.build import build

HEAD = """format = 1
[project]
name = "Merrowhithe ferry office"
[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "output-enable"
"""
LADDER = """[board.ladder]
supply = "5 V"
driver = "30 ohm"
grey = { w = "430R" }
"""
PLAIN = f"""{HEAD}[[board.memory]]
name = "picture"
part = "27C512"
address = ["x5-x9", "y5-y8", "bank0"]
data = ["w"]
{LADDER}"""
TILED = f"""{HEAD}[[board.memory]]
name = "map"
part = "28C16"
address = ["x5-x9", "y5-y8", "bank0"]
data = ["-"]
[[board.memory]]
name = "tiles"
part = "27C256"
address = ["x2-x4", "y2-y4", "map.d0-map.d6"]
data = ["w"]
{LADDER}"""
RAW = '[[stage]]\nuse = "raw"\nmemory = "picture"\nfile = "words.bin"\n'
TEXT = """[[stage]]
use = "text"
lines = ["BAR", " A"]
row = 2
column = 3
[[stage]]
use = "raw"
memory = "tiles"
file = "characters.bin"
"""
BINARY = '[[stage]]\nuse = "binary"\n'

Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a recipe beside a file of words, the lowest bit of every third set, and one of 95 characters.

    The lowest bit of all 64 words of character number n is that of n: every other character is a white block.
    """
    (tmp_path / "words.bin").write_bytes(bytes(number % 3 == 0 for number in range(1024)))
    (tmp_path / "characters.bin").write_bytes(bytes(number & 1 for number in range(95) for _ in range(64)))

    def make(text: str) -> Path:
        (tmp_path / "recipe.toml").write_text(text)
        return tmp_path / "recipe.toml"

    return make


def test_words_alone_build(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    recipe = write(PLAIN + RAW + BINARY)
    assert main(["check", str(recipe)]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "ready to build"
    built = build(load(recipe))
    data = (built.output / "devices" / "picture.bin").read_bytes()
    assert data[:1024] == (recipe.parent / "words.bin").read_bytes()
    assert set(data[1024:]) == {0xFF}
    assert list(built.manifest.pictures) == []
    assert [item["file"] for item in built.manifest.document["inputs"]] == ["recipe.toml", "words.bin"]
    for bank in (0, 1):
        screen = np.asarray(Image.open(built.proof.parent / "screens" / f"bank{bank}.png").convert("L")) > 40
        # Word number x + 32 y of the bank; a pixel is 32 counts wide and 32 lines high.
        x, y = np.meshgrid(np.arange(20), np.arange(15))
        assert np.array_equal(screen[16::32, 16::32], (x + 32 * y + 512 * bank) % 3 == 0)
    assert "picture" in (built.output / "burn-sheet.txt").read_text(encoding="utf-8")
    assert "Screen of bank 0" in built.proof.read_text(encoding="utf-8")


def test_text_with_the_characters_of_a_file(write: Write) -> None:
    built = build(load(write(TILED + TEXT + BINARY)))
    screen = np.asarray(Image.open(built.proof.parent / "screens" / "bank0.png").convert("L")) > 40
    tiles = screen[16::32, 16::32]
    # The number of a character is its code less 32: B is 34, A is 33, R is 50, a space is 0.
    expected = np.zeros((15, 20), dtype=bool)
    expected[2, 4] = expected[3, 4] = True
    assert np.array_equal(tiles, expected)
    assert [picture["name"] for picture in built.manifest.pictures] == ["text of bank 0"]


def test_the_command_builds_and_checks_afterwards(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    recipe = write(PLAIN + RAW + BINARY)
    assert main(["build", str(recipe), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True
    first = (recipe.parent / "out" / "manifest.json").read_bytes()
    assert main(["build", str(recipe)]) == 0
    assert (recipe.parent / "out" / "manifest.json").read_bytes() == first
    capsys.readouterr()
    assert main(["compare", str(recipe), str(recipe.parent / "out" / "devices" / "picture.bin")]) == 0


def test_pictures_that_no_stage_takes_are_a_caution(write: Write) -> None:
    recipe = load(write(PLAIN + '[pictures]\nfiles = ["words.bin"]\n' + RAW + BINARY))
    assert recipe.files == ()
    assert [(found.level, found.where, found.message) for found in recipe.cautions] == [
        ("caution", "pictures", "no stage takes pictures, so they are not used; leave [pictures] out, or add stages")
    ]


@pytest.mark.parametrize(
    ("stages", "complaint"),
    [
        (BINARY, "the chain has no stage from coded pictures to contents"),
        (RAW, "the chain has no stage from contents to device files"),
        (RAW + '[[stage]]\nuse = "bank_pictures"\n' + BINARY, "the chain has no stage from picture to coded picture"),
        ('[[stage]]\nuse = "nearest"\n' + RAW + BINARY, "the recipe has no pictures"),
        ('[[stage]]\nuse = "nearest"\n' + RAW + '[[stage]]\nuse = "bank_pictures"\n' + BINARY, "has no pictures"),
    ],
)
def test_what_is_still_needed(write: Write, stages: str, complaint: str) -> None:
    with pytest.raises(RecipeError, match=complaint):
        load(write(PLAIN + stages))


def test_which_chains_take_pictures() -> None:
    def chain(*names: str) -> list:
        return [installed_stages().get(name) for name in names]

    assert not takes_pictures(chain("raw", "text", "binary"))
    assert takes_pictures(chain("sheet", "text", "binary"))
    assert takes_pictures(chain("binary"))
    assert takes_pictures(chain("crop", "raw", "binary"))
    assert check_chain(chain("text", "raw", "binary"), installed_stages().usual) == []
