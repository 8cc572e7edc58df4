"""A small project with every kind of input."""

from __future__ import annotations

from pathlib import Path

import pytest

from ...boards import GREY, in_file

RECIPE = """
format = 1
board = "boards/sign.toml"
plugins = ["waiting.py"]

[project]
name = "Merrowhithe jetty sign"

[pictures]
files = ["pictures/*.pgm"]

[[stage]]
use = "wait"

[[stage]]
use = "resize"

[[stage]]
use = "nearest"

[[stage]]
use = "bank_pictures"

[[stage]]
use = "binary"
"""

PLUGIN = '''
"""Waiting, while a file lies beside this one."""

import time
from pathlib import Path

from ladderlight import Picture, stage

HERE = Path(__file__).parent


@stage(help="Wait.")
def wait(picture: Picture) -> Picture:
    """Wait."""
    if (HERE / "wait").exists():
        (HERE / "waiting").touch()
        time.sleep(0.3)
    return picture
'''


@pytest.fixture
def sign(tmp_path: Path) -> Path:
    """The recipe of a project with a board's file, a plugin and a picture."""
    folder = tmp_path / "sign"
    for name, text in (("boards/sign.toml", in_file(GREY)), ("waiting.py", PLUGIN), ("recipe.toml", RECIPE)):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "pictures").mkdir()
    (folder / "pictures" / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
    return folder / "recipe.toml"
