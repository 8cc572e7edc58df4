"""What a build is made from, and what has changed since."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

from ladderlight.errors import BuildError
from ladderlight.recipe import Recipe, load
from ladderlight.recipe.inputs import changes_since, input_files
from ladderlight.workspace.made_from import MadeFrom

from ...boards import GREY, in_file

RECIPE = """
format = 1
board = "boards/sign.toml"
plugins = ["glow.py"]

[pictures]
files = ["pictures/*.pgm"]

[[stage]]
use = "glow"

[[stage]]
use = "nearest"

[[stage]]
use = "bank_pictures"

[[stage]]
use = "raw"
memory = "picture"
file = "words.bin"
address = 1024

[[stage]]
use = "binary"
"""

GLOW = """
from ladderlight import Picture, stage


@stage(help="Nothing.")
def glow(picture: Picture) -> Picture:
    return picture
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A recipe that names a file of every sort."""
    for name, text in {
        "recipe.toml": RECIPE,
        "boards/sign.toml": "\n" + in_file(GREY),
        "glow.py": GLOW,
        "words.bin": "ab",
        "pictures/day-1.pgm": "P5 2 1 255\n01",
        "pictures/day-10.pgm": "P5 2 1 255\n10",
    }.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def read(folder: Path) -> Recipe:
    return load(folder / "recipe.toml")


def inputs_of(recipe: Recipe) -> list[dict[str, object]]:
    """Return the files that a recipe is made from as its manifest has them."""
    seen = MadeFrom(recipe=recipe, cache=None).look().seen
    return [{"file": name, "bytes": each.size, "sha256": each.sha256} for name, each in seen.items()]


NAMES = ["recipe.toml", "boards/sign.toml", "words.bin", "glow.py", "pictures/day-1.pgm", "pictures/day-10.pgm"]


def test_every_file_that_a_recipe_names_is_an_input(folder: Path) -> None:
    inputs = inputs_of(read(folder))
    assert [item["file"] for item in inputs] == NAMES == list(input_files(read(folder)))
    for item in inputs:
        data = (folder / item["file"]).read_bytes()
        assert item == {"file": item["file"], "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def test_a_file_that_an_override_names_is_an_input(folder: Path) -> None:
    plugin = GLOW.replace("(picture: Picture)", "(picture: Picture, *, mask: bytes | None = None)")
    (folder / "glow.py").write_text(plugin, encoding="utf-8")
    (folder / "mask.pbm").write_text("x", encoding="utf-8")
    recipe = folder / "recipe.toml"
    recipe.write_text(RECIPE + '\n[[picture]]\nmatch = "day-1.pgm"\nglow = { mask = "mask.pbm" }\n', encoding="utf-8")
    assert "mask.pbm" in input_files(read(folder))


@pytest.mark.parametrize("name", NAMES)
def test_a_change_of_any_file_is_told_though_its_size_stays(folder: Path, name: str) -> None:
    inputs = inputs_of(read(folder))
    assert changes_since(inputs, read(folder)) == []
    path = folder / name
    text = path.read_text(encoding="utf-8")
    path.write_text({"words.bin": "ba"}.get(name, text.replace("0", "2", 1) if "pgm" in name else text), "utf-8")
    if name.endswith((".toml", ".py")):
        path.write_text(text[1:] + "\n", encoding="utf-8")  # one empty line from the top to the end
    assert path.stat().st_size == len(text)
    assert changes_since(inputs, read(folder)) == [f"{name} has changed"]
    path.write_text(text, encoding="utf-8")
    assert changes_since(inputs, read(folder)) == []


def test_pictures_that_come_and_go_are_told(folder: Path) -> None:
    inputs = inputs_of(read(folder))
    shutil.copy(folder / "pictures/day-1.pgm", folder / "pictures/day-2.pgm")
    (folder / "pictures/day-10.pgm").unlink()
    assert changes_since(inputs, read(folder)) == [
        "pictures/day-2.pgm is new",
        "pictures/day-10.pgm is no longer used",
    ]


def test_another_order_of_the_same_files_is_told(folder: Path) -> None:
    inputs = inputs_of(read(folder))
    assert changes_since([*inputs[:4], inputs[5], inputs[4]], read(folder)) == ["the pictures have another order"]


def test_a_file_of_another_size_is_not_read(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recipe = read(folder)
    inputs = inputs_of(recipe)
    (folder / "pictures/day-1.pgm").write_text("longer than before", encoding="utf-8")
    read_files = []

    def noted(path: str, *arguments: object, **more: object) -> object:
        read_files.append(Path(path).name)
        return open(path, *arguments, **more)  # type: ignore[call-overload]  # noqa: PTH123 - as the program does

    monkeypatch.setattr("ladderlight.cache.marks.open", noted, raising=False)
    assert changes_since(inputs, recipe) == ["pictures/day-1.pgm has changed"]
    assert sorted(read_files) == sorted({Path(name).name for name in NAMES} - {"day-1.pgm"})


def test_a_file_that_has_gone_is_a_clear_error(folder: Path) -> None:
    recipe = read(folder)
    (folder / "pictures/day-1.pgm").unlink()
    with pytest.raises(BuildError, match=r"day-1\.pgm: cannot be read \(No such file or directory\); check its perm"):
        inputs_of(recipe)
    assert changes_since([], recipe)[-1] == "pictures/day-10.pgm is new"
