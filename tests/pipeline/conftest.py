"""Small recipes that are built."""

from __future__ import annotations

import shutil
from functools import cache

import pytest

from ladderlight import commands

from ..boards import GREY, chain

GREY_RECIPE = """
format = 1

[project]
output = "{name}-out"

{board}
[pictures]
files = ["{picture}.pgm"]
{stages}"""


@pytest.fixture(scope="session")
def built_projects(tmp_path_factory):
    """Build a recipe of a name once for all tests of a worker, which copy it: a build is the same wherever it lies."""

    @cache
    def make(name, memory, part, picture):
        folder = tmp_path_factory.mktemp("built")
        assert commands.main(["build", "--quiet", str(written(folder, name, memory, part, picture))]) == 0
        return folder

    return make


def written(folder, name, memory, part, picture):
    """Write a recipe of a name, and two pictures."""
    (folder / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
    (folder / "light.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(255, 15, -20)))
    path = folder / f"{name}.toml"
    board = GREY.replace('"picture"', f'"{memory}"').replace('"2716"', f'"{part}"')
    stages = chain("resize", "nearest", "bank_pictures", "binary")
    path.write_text(GREY_RECIPE.format(name=name, board=board, picture=picture, stages=stages), encoding="utf-8")
    return path


@pytest.fixture
def project(tmp_path, capsys, built_projects):
    """Make a recipe of a name in one folder, and build it."""

    def make(name, *, memory="picture", part="2716", picture="grey", build=True):
        if not build:
            return written(tmp_path, name, memory, part, picture)
        shutil.copytree(built_projects(name, memory, part, picture), tmp_path, dirs_exist_ok=True)
        capsys.readouterr()
        return tmp_path / f"{name}.toml"

    return make
