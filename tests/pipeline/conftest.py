"""Small recipes that are built."""

from __future__ import annotations

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


@pytest.fixture
def project(tmp_path, capsys):
    """Make a recipe of a name in one folder, and build it."""

    def make(name, *, memory="picture", part="2716", picture="grey", build=True):
        (tmp_path / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
        (tmp_path / "light.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(255, 15, -20)))
        path = tmp_path / f"{name}.toml"
        board = GREY.replace('"picture"', f'"{memory}"').replace('"2716"', f'"{part}"')
        stages = chain("resize", "nearest", "bank_pictures", "binary")
        path.write_text(GREY_RECIPE.format(name=name, board=board, picture=picture, stages=stages), encoding="utf-8")
        if build:
            assert commands.main(["build", str(path)]) == 0
        capsys.readouterr()
        return path

    return make
