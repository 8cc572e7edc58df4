"""What a build reads, looked at again and again."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest

from ladderlight.recipe import load
from ladderlight.recipe.watching import Reads, forget_modules

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of a small project with a plugin."""
    return Path(shutil.copytree(LANTERN, tmp_path / "lantern", ignore=shutil.ignore_patterns("out", "__pycache__")))


def names(reads: Reads) -> set[str]:
    return {os.path.relpath(path, reads.folder) for path, mark in reads.look().items() if mark is not None}


def test_files_and_pictures_are_seen_and_so_are_new_pictures(folder: Path) -> None:
    reads = Reads.of(load(folder / "recipe.toml"))
    before = reads.look()
    assert names(reads) == {"recipe.toml", "lantern.py", "pictures/chart.png", "pictures/lighthouse.png"}
    (folder / "notes.txt").write_text("a")
    assert reads.look() == before
    shutil.copy(folder / "pictures" / "chart.png", folder / "pictures" / "new.png")
    assert reads.look().keys() - before.keys() == {folder / "pictures" / "new.png"}


def test_another_file_in_the_place_of_one_is_a_change(folder: Path) -> None:
    reads = Reads.of(load(folder / "recipe.toml"))
    before, plugin = reads.look(), folder / "lantern.py"
    shutil.copy2(plugin, folder / "aside")
    (folder / "aside").replace(plugin)
    now = reads.look()
    assert now != before
    assert now[plugin][:2] == before[plugin][:2]  # type: ignore[index]


def test_modules_that_a_plugin_imports_from_its_folder_are_seen_and_loaded_anew(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(folder))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    (folder / "merrowhithe_glow.py").write_text("REACH = 1\n")
    plugin = folder / "lantern.py"
    plugin.write_text(plugin.read_text().replace("import numpy", "import merrowhithe_glow\nimport numpy", 1))
    reads = Reads.of(load(folder / "recipe.toml"))
    assert "merrowhithe_glow.py" in names(reads)
    (folder / "merrowhithe_glow.py").write_text("REACH = 2\n")
    forget_modules(reads.files)
    load(folder / "recipe.toml")
    assert sys.modules["merrowhithe_glow"].REACH == 2
    forget_modules(reads.files)


def test_a_broken_recipe_reads_what_it_read_and_what_it_may_name(folder: Path) -> None:
    path = folder / "recipe.toml"
    good = Reads.of(load(path))
    text = path.read_text()
    path.write_text("[[stage]\n")
    assert Reads.of_broken(path, good) == good
    assert names(Reads.of_broken(path)) == {"recipe.toml"}
    path.write_text(text.replace('"pictures/*.png"', '"photographs/*.png"'))
    reads = Reads.of_broken(path)
    assert names(reads) == {"recipe.toml", "lantern.py"}
    (folder / "pictures").rename(folder / "photographs")
    assert names(reads) == {"recipe.toml", "lantern.py", "photographs/chart.png", "photographs/lighthouse.png"}
