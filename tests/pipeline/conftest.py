"""Small recipes that are built."""

from __future__ import annotations

import pytest

from ladderlight import commands

GREY_RECIPE = """
format = 1

[project]
output = "{name}-out"

[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "gate"

[[board.memory]]
name = "{memory}"
part = "{part}"
address = ["x6-x9", "y5-y8"]
data = ["k"]

[board.ladder]
supply = "5 V"
grey = {{ k = "470" }}

[pictures]
files = ["{picture}.pgm"]

[[stage]]
use = "resize"

[[stage]]
use = "nearest"

[[stage]]
use = "bank_pictures"

[[stage]]
use = "binary"
"""


@pytest.fixture
def project(tmp_path, capsys):
    """Make a recipe of a name in one folder, and build it."""

    def make(name, *, memory="picture", part="2716", picture="grey", build=True):
        (tmp_path / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
        (tmp_path / "light.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(255, 15, -20)))
        path = tmp_path / f"{name}.toml"
        path.write_text(GREY_RECIPE.format(name=name, memory=memory, part=part, picture=picture), encoding="utf-8")
        if build:
            assert commands.main(["build", str(path)]) == 0
        capsys.readouterr()
        return path

    return make
