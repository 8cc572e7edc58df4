"""Recipes to load and to spoil."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight.errors import RecipeError
from ladderlight.recipe import Recipe, load

TEXT = """\
format = 1
plugins = ["lantern.py"]

[project]
name = "Merrowhithe"
output = "made"

[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "output-enable"

[[board.memory]]
name = "picture"
part = "27C010"
access = "120 ns"
address = ["x2-x9", "y2-y8", "bank0-bank1"]
data = ["b0", "b1", "g0-g2", "r0-r2"]

[board.ladder]
supply = "5 V"
red = { r0 = "3k3", r1 = "1k6", r2 = "750" }
green = { g0 = "3k3", g1 = "1k6", g2 = "750" }
blue = { b0 = "1k3", b1 = "680" }

[pictures]
files = ["pictures/*.jpg", "pictures/*.png"]

[[stage]]
use = "glow"
tint = "warm"

[[stage]]
use = "flatten"

[[stage]]
use = "stack"

[[stage]]
use = "dump"

[[picture]]
match = "night-*.png"
glow = { strength = 0.5 }
bank = 3
"""

PLUGIN = """
from pathlib import Path
from typing import Annotated, Literal
from collections.abc import Sequence

from ladderlight import CodedPicture, Contents, DeviceFile, Option, Picture, stage


@stage(help="Open a file.")
def fetch(path: Path) -> Sequence[Picture]: ...


@stage(help="Let lamps glow.")
def glow(
    picture: Picture,
    *,
    tint: Annotated[Literal["warm", "cold"], Option("colour of the lamps")] = "cold",
    strength: Annotated[float, Option("how much", minimum=0, maximum=1)] = 1.0,
    flicker: Annotated[float, Option("how long", unit="s", minimum=0)] = 0.0,
) -> Picture: ...


@stage(help="Reduce to codes.")
def flatten(picture: Picture) -> CodedPicture: ...


@stage(help="Arrange.")
def stack(pictures: Sequence[CodedPicture], *, order: Literal["up", "down"] = "up") -> Contents: ...


@stage(help="Write.")
def dump(contents: Contents) -> Sequence[DeviceFile]: ...
"""

PICTURES = ("day-2.jpg", "day-10.jpg", "day-1.jpg", "night-1.png", "night-2.png")


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with pictures and a plugin, which is the working folder."""
    (tmp_path / "pictures").mkdir()
    for name in PICTURES:
        (tmp_path / "pictures" / name).write_bytes(b"")
    (tmp_path / "lantern.py").write_text(PLUGIN, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def text() -> str:
    """A good recipe."""
    return TEXT


@pytest.fixture
def read(project: Path) -> Callable[[str], Recipe]:
    """Load a recipe's text from the project's folder."""

    def load_text(text: str) -> Recipe:
        (project / "recipe.toml").write_text(text, encoding="utf-8")
        return load(Path("recipe.toml"))

    return load_text


@pytest.fixture
def complaints(read: Callable[[str], Recipe]) -> Callable[[str], list[str]]:
    """Give the lines of the error that a recipe's text causes."""

    def lines_of(text: str) -> list[str]:
        with pytest.raises(RecipeError) as caught:
            read(text)
        return str(caught.value).splitlines()

    return lines_of


@pytest.fixture
def spoil() -> Callable[..., str]:
    """Replace parts of the good recipe, each of which must be there once."""

    def replace(*changes: tuple[str, str]) -> str:
        text = TEXT
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        return text

    return replace
