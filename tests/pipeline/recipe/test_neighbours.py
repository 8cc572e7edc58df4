"""The other recipes of a folder, read without running anything of theirs."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from ladderlight.recipe import load

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"


@pytest.fixture
def recipe(tmp_path):
    shutil.copytree(LANTERN, tmp_path / "lantern", ignore=shutil.ignore_patterns("out", "__pycache__"))
    return load(tmp_path / "lantern" / "recipe.toml", pictures="ignored")


def beside(recipe, name, text=None, **changes):
    """Write another recipe, by default the same with some words changed."""
    text = recipe.path.read_text() if text is None else text
    for before, after in changes.values():
        assert before in text
        text = text.replace(before, after)
    (recipe.folder / name).write_text(text)


def test_devices_and_output_are_those_of_the_text(recipe):
    assert replace(recipe).neighbours == ()
    beside(recipe, "b.toml", out=('"out"', '"b-out"'), memory=('name = "picture"', 'name = "map"\nchips = 2'))
    beside(recipe, "a.toml", plugins=('"lantern.py"', '"none.py"'), stage=('use = "lantern"', 'use = "none"'))
    first, second = recipe.neighbours
    assert (first.name, first.outputs, first.devices) == (
        "a.toml",
        (recipe.folder / "out",),
        frozenset({("picture", "27C512")}),
    )
    assert second.outputs == (recipe.folder / "b-out",)
    assert second.devices == {("map-0", "27C512"), ("map-1", "27C512")}
    assert (first.has("picture", "27C512"), first.has("picture", "27C256")) == (True, False)


def test_nothing_of_theirs_is_run(recipe):
    (recipe.folder / "ends.py").write_text("raise SystemExit('it ran')\n")
    beside(recipe, "a.toml", plugins=('"lantern.py"', '"ends.py"'))
    assert [other.name for other in recipe.neighbours] == ["a.toml"]


def test_a_board_in_a_file_of_its_own(recipe):
    text = recipe.path.read_text()
    board = text[text.index("[board]") : text.index("[pictures]")]
    (recipe.folder / "boards").mkdir()
    (recipe.folder / "boards" / "lobby.toml").write_text(board)
    beside(recipe, "a.toml", board=(board, ""), key=("format = 1", 'format = 1\nboard = "boards/lobby.toml"'))
    (other,) = recipe.neighbours
    assert other.devices == {("picture", "27C512")}


@pytest.mark.parametrize("text", ["[board", 'board = "none.toml"', "board = 3", "[board]\nmode = 3\n"])
def test_a_board_that_cannot_be_read_may_have_any_device(recipe, text):
    beside(recipe, "a.toml", text)
    (other,) = recipe.neighbours
    assert other.devices is None
    assert other.has("anything", "2716")


def test_what_is_no_recipe_is_passed_over(recipe):
    beside(recipe, "tool.toml", "[tool]\nx = 1\n")
    (recipe.folder / "folder.toml").mkdir()
    os.mkfifo(recipe.folder / "pipe.toml")
    (recipe.folder / "gone.toml").symlink_to("nothing")
    with (recipe.folder / "large.toml").open("wb") as file:
        file.truncate(1 << 30)
    assert recipe.neighbours == ()
