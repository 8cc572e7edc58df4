"""The files that a recipe asks for, before anything is built."""

from __future__ import annotations

from pathlib import Path

import pytest

from ladderlight.engine.runner import Chain
from ladderlight.recipe import load

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"

OWN = """
from collections.abc import Sequence

from ladderlight import Contents, DeviceFile, stage


@stage(help="Write only the first picture's name.")
def first(contents: Contents) -> Sequence[DeviceFile]:
    name = contents.pictures[0].origin.name
    return [DeviceFile(device="picture", name=f"{name}.txt", data=name.encode(), span=None)]
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project with two emission stages, one of which splits, and pictures that are none."""
    text = (LANTERN / "recipe.toml").read_text(encoding="utf-8")
    text = text.replace('use = "binary"', 'use = "binary"\nsize = 20000\n\n[[stage]]\nuse = "intel_hex"\noffset = 16')
    (tmp_path / "recipe.toml").write_text(text, encoding="utf-8")
    (tmp_path / "lantern.py").write_text((LANTERN / "lantern.py").read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "pictures").mkdir()
    for name in ("chart.png", "lighthouse.png"):
        (tmp_path / "pictures" / name).write_text("no picture", encoding="utf-8")
    return tmp_path


def test_names_and_spans_are_known_without_opening_a_picture(project: Path) -> None:
    files = Chain(recipe=load(project / "recipe.toml")).planned_files()
    assert [(file.name, file.span.first, file.span.count, file.span.offset) for file in files if file.span] == [
        ("picture-0.bin", 0, 20000, 0),
        ("picture-1.bin", 20000, 20000, 0),
        ("picture-2.bin", 40000, 20000, 0),
        ("picture-3.bin", 60000, 5536, 0),
        ("picture.hex", 0, 65536, 16),
    ]


def test_a_stage_that_needs_pictures_leaves_nothing_to_be_told(project: Path) -> None:
    (project / "first.py").write_text(OWN, encoding="utf-8")
    recipe = project / "recipe.toml"
    text = recipe.read_text(encoding="utf-8").replace('["lantern.py"]', '["lantern.py", "first.py"]')
    recipe.write_text(text + '\n[[picture]]\nmatch = "lighthouse.png"\nbank = 1\n', encoding="utf-8")
    at = 'use = "intel_hex"'
    text = recipe.read_text(encoding="utf-8")
    recipe.write_text(text.replace(at, f'use = "first"\n\n[[stage]]\n{at}'), encoding="utf-8")
    assert Chain(recipe=load(recipe)).planned_files() == []
