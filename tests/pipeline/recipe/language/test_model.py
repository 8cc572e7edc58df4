"""Recipes as values: they compare, hash and pickle, for work in other processes."""

from __future__ import annotations

import pickle
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from ladderlight.recipe import load, load_revisions

ROOT = Path(__file__).parents[4]
EXAMPLES = [*ROOT.glob("recipes/*/recipe.toml"), *ROOT.glob("tests/recipes/*/recipe.toml")]

ELSEWHERE = """
import pickle, sys
from pathlib import Path
import numpy as np
from ladderlight import Origin, Picture
recipe = pickle.loads(Path(sys.argv[1]).read_bytes())
use = next(use for use in recipe.chain if use.declaration.plugin == "lantern.py")
picture = Picture(origin=Origin(name="night", source="night.png"), pixels=np.ones((3, 3, 3), dtype=np.float32))
lit = use.declaration.run(picture, recipe.board, use.options)
print(recipe.digest, use.digest, float(lit.pixels[0, 0, 0]), float(lit.pixels[1, 1, 0]))
"""
"""What another process does with a recipe: it runs the stage of the project's own file on a white picture."""


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.parent.name)
def test_recipes_survive_pickling(path: Path) -> None:
    recipe = load_revisions(path, pictures="ignored")[0]
    recipe.board.palette.lattice, recipe.board.x_grid  # noqa: B018 - what is cached is left out of a pickle
    pickled = pickle.dumps(recipe)
    again = pickle.loads(pickled)
    assert again == recipe
    assert hash(again) == hash(recipe)
    assert {recipe, again, load_revisions(path, pictures="ignored")[0]} == {recipe}
    assert [use.declaration.function for use in again.chain] == [use.declaration.function for use in recipe.chain]
    assert again.board.palette == recipe.board.palette
    # 64 KiB hold no table of a palette: that of 4,096 colours alone has 98,304 bytes of voltages
    assert len(pickled) < 65536


def test_other_options_make_another_recipe(tmp_path: Path) -> None:
    path = shutil.copy(ROOT / "recipes/lobby/recipe.toml", tmp_path / "recipe.toml")
    text = path.read_text()
    recipes = [load(path, pictures="ignored")]
    for old, new in (('kernel = "stucki"', 'kernel = "atkinson"'), ('r0 = "3k3"', 'r0 = "3k"')):
        assert old in text
        path.write_text(text.replace(old, new))
        recipes.append(load(path, pictures="ignored"))
    assert len(set(recipes)) == 3
    assert len({recipe.board for recipe in recipes}) == 2
    assert len({recipe.chain for recipe in recipes}) == 2


def test_a_stage_of_the_projects_own_is_loaded_again_by_content(tmp_path: Path) -> None:
    """The other process is given the recipe alone: the file has gone meanwhile."""
    project = shutil.copytree(ROOT / "tests/recipes/lantern", tmp_path / "lantern")
    recipe = load(project / "recipe.toml", pictures="ignored")
    (tmp_path / "recipe.pickle").write_bytes(pickle.dumps(recipe))
    shutil.rmtree(project)
    command = [sys.executable, "-c", ELSEWHERE, str(tmp_path / "recipe.pickle")]
    digest, use_digest, corner, middle = subprocess.run(command, check=True, capture_output=True).stdout.split()
    use = next(use for use in recipe.chain if use.declaration.plugin == "lantern.py")
    assert (digest.decode(), use_digest.decode()) == (recipe.digest, use.digest)
    assert 0 <= float(corner) < float(middle) <= 1


def test_a_changed_plugin_makes_another_recipe(tmp_path: Path) -> None:
    project = shutil.copytree(ROOT / "tests/recipes/lantern", tmp_path / "lantern")
    before = load(project / "recipe.toml", pictures="ignored")
    pickled = pickle.dumps(before)
    file = project / "lantern.py"
    file.write_text(file.read_text() + "\n")
    after = load(project / "recipe.toml", pictures="ignored")
    assert after != before
    assert pickle.loads(pickled) == before
