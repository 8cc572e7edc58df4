"""Mistakes in a recipe as taplo marks them, the checker of TOML behind editors (npm: @taplo/cli)."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from ladderlight.commands import main
from ladderlight.recipe import schema

ROOT = Path(__file__).parents[2]
MISTAKES = """\
format = 2

[project]
nme = "Lobby"

[board]
mode = "640x480@6O"
clock = true
blanking = "off"
counters = { blanking_delay = "4" }

[[board.memory]]
name = "picture"
part = "27C01O"
words = 131072
address = "x2-x9"
data = ["b0-b1", "g0-g2", "r0-r2"]
output = "registr"

[board.ladder]
supply = "5 V"
lod = "75 ohm"
driver = { high = "30 ohm", low = true }
red = { r0 = true, r1 = "1k6", r2 = "750" }
green = { r2r = "330", lines = "g0" }

[pictures]
files = "pictures/*.jpg"

[[stage]]
use = "crp"

[[stage]]
use = "crop"
keep = "center"

[[stage]]
use = "diffuse"
strength = 1.5
strenght = 1

[[picture]]
match = "chart.*"
diffuse = { kernel = "atkinso" }
nerest = {}
bank = -1
"""
MARKED = [
    *("format = 2", 'nme = "Lobby"', 'mode = "640x480@6O"', "clock = true", 'blanking = "off"'),
    *('blanking_delay = "4"', 'part = "27C01O"', "words = 131072", 'address = "x2-x9"', 'output = "registr"'),
    *('lod = "75 ohm"', "low = true", "r0 = true", 'lines = "g0"', 'files = "pictures/*.jpg"', 'use = "crp"'),
    *('keep = "center"', "strength = 1.5", "strenght = 1", 'kernel = "atkinso"', "nerest = {}", "bank = -1"),
]
"""Each mistake with its key; the value is what is marked."""


@pytest.fixture(scope="module")
def schema_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The schema as a file."""
    path = tmp_path_factory.mktemp("schema") / "recipe.schema.json"
    path.write_text(json.dumps(schema()), encoding="utf-8")
    return path


def marks(schema_file: Path | None, *recipes: Path) -> list[tuple[int, int]]:
    """Return the line and column of everything that taplo marks, by a schema or by that which the recipe names."""
    taplo = shutil.which("taplo")
    if taplo is None:
        pytest.skip("taplo is not installed: npm install -g @taplo/cli")
    options = ["--no-auto-config", "--colors", "never"]
    if schema_file is not None:
        options += ["--schema", schema_file.as_uri()]
    done = subprocess.run([taplo, "lint", *options, *recipes], capture_output=True, text=True, timeout=120, check=False)
    found = re.findall(r"┌─ .*:(\d+):(\d+)$", done.stderr + done.stdout, flags=re.MULTILINE)
    assert bool(found) == bool(done.returncode), done.stderr
    return sorted((int(line), int(column)) for line, column in found)


def test_taplo_marks_each_mistake_and_nothing_else(schema_file: Path, tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.toml"
    recipe.write_text(MISTAKES, encoding="utf-8")
    expected = []
    for mistake in MARKED:
        value = MISTAKES.index(mistake) + mistake.index(" = ") + 3
        before = MISTAKES[:value]
        expected.append((before.count("\n") + 1, value - before.rfind("\n")))
    assert marks(schema_file, recipe) == sorted(expected)


def test_taplo_finds_nothing_in_the_example_recipes(schema_file: Path) -> None:
    recipes = sorted(ROOT.glob("recipes/*/recipe.toml"))
    assert len(recipes) >= 8
    assert marks(schema_file, *recipes) == []


def test_taplo_finds_the_schema_of_a_started_project(tmp_path: Path) -> None:
    assert main(["start", str(tmp_path / "new")]) == 0
    recipe = tmp_path / "new" / "recipe.toml"
    assert marks(None, recipe) == []
    text = recipe.read_text(encoding="utf-8")
    recipe.write_text(text.replace('kernel = "fan"', 'kernel = "fann"'), encoding="utf-8")
    line = text[: text.index('kernel = "fan"')].count("\n") + 1
    assert marks(None, recipe) == [(line, 10)]
