from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight.recipe import Recipe

Reader = Callable[[str], Recipe]
Complaints = Callable[[str], list[str]]
Spoil = Callable[..., str]


@pytest.fixture
def stamped(spoil: Spoil, project: Path) -> str:
    """A recipe whose stage takes a file."""
    plugin = project / "lantern.py"
    code = plugin.read_text(encoding="utf-8")
    option = '    stamp: Annotated[bytes | None, Option("a file")] = None,\n'
    plugin.write_text(code.replace("    tint: Annotated", f"{option}    tint: Annotated"), encoding="utf-8")
    (project / "day.bin").write_bytes(b"day\x00")
    (project / "night.bin").write_bytes(b"night\xff")
    return spoil(('tint = "warm"', 'stamp = "day.bin"'), ("{ strength = 0.5 }", '{ stamp = "night.bin" }'))


def test_a_stage_gets_the_content_of_the_file(read: Reader, stamped: str) -> None:
    recipe = read(stamped)
    assert recipe.options_for(recipe.files[0], 1)["stamp"] == b"day\x00"
    assert recipe.options_for(recipe.files[3], 1)["stamp"] == b"night\xff"


def test_a_file_that_is_not_there(complaints: Complaints, stamped: str) -> None:
    assert complaints(stamped.replace("day.bin", "dey.bin").replace("night.bin", "pictures")) == [
        "recipe.toml:31:9: there is no file 'dey.bin'; did you mean 'day.bin'?",
        "recipe.toml:44:18: 'pictures' is a folder; name a file in it",
    ]


def test_what_is_no_file_name(complaints: Complaints, stamped: str) -> None:
    assert complaints(stamped.replace('"day.bin"', "3")) == [
        "recipe.toml:31:9: stage 'glow': stamp is the number 3; use a file name in quotes"
    ]
