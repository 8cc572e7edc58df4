"""Builds that cannot be finished."""

from __future__ import annotations

import errno
import json
import platform
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ladderlight import commands
from ladderlight.errors import BuildError
from ladderlight.recipe import load
from ladderlight.workspace import build as building

from ...boards import GREY

RECIPE = f"""
format = 1

{GREY}
[pictures]
files = ["grey.pgm"]

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
def recipe(tmp_path: Path) -> Path:
    """A small project that has been built."""
    (tmp_path / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
    path = tmp_path / "recipe.toml"
    path.write_text(RECIPE, encoding="utf-8")
    assert commands.main(["build", str(path)]) == 0
    return path


def _files(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_full_disk_is_one_line_and_leaves_the_old_output(
    recipe: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _files(recipe.parent)

    opened = Path.open

    def full(path: Path, mode: str = "r", *more: Any, **options: Any) -> Any:
        if mode == "wb":
            raise OSError(errno.ENOSPC, "No space left on device")
        return opened(path, mode, *more, **options)

    capsys.readouterr()
    monkeypatch.setattr(Path, "open", full)
    assert commands.main(["build", "--force", str(recipe)]) == 1
    monkeypatch.undo()
    assert capsys.readouterr().err == (
        "devices/picture.bin: cannot be written (No space left on device); make room or choose another output folder; "
        "nothing was replaced\n"
    )
    assert _files(recipe.parent) == before


@pytest.mark.parametrize("cached", [True, False])
def test_a_picture_that_has_gone_since_the_recipe_was_read_is_named(recipe: Path, *, cached: bool) -> None:
    loaded, before = load(recipe), _files(recipe.parent / "out")
    (recipe.parent / "grey.pgm").unlink()
    with pytest.raises(BuildError, match=r"grey\.pgm: no such file; check the name"):
        building.build(loaded, cached=cached)
    assert _files(recipe.parent / "out") == before


def test_a_broken_picture_that_is_used_is_a_caution_and_in_the_manifest(
    recipe: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (recipe.parent / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(100, 170, 10)))
    capsys.readouterr()
    assert commands.main(["build", str(recipe)]) == 1
    assert capsys.readouterr().err == "grey.pgm: PPM: broken or cut short; save or copy it again\n"
    use = '[[stage]]\nuse = "read"\ndamaged = "use"\n\n[[stage]]\nuse = "resize"'
    recipe.write_text(RECIPE.replace('[[stage]]\nuse = "resize"', use), encoding="utf-8")
    assert commands.main(["build", "--json", str(recipe)]) == 0
    printed = capsys.readouterr()
    caution = "broken or cut short, and used as far as it can be decoded; copy or save it again"
    document = json.loads(printed.out)
    assert {"level": "caution", "where": "grey.pgm", "message": caution} in document["findings"]
    assert document["manifest"]["pictures"][0]["caution"] == caution
    assert f"grey.pgm: {caution}" in printed.err.replace("\n", " ")


def test_a_build_that_is_stopped_says_so_and_leaves_the_old_output(
    recipe: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _files(recipe.parent)

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    capsys.readouterr()
    monkeypatch.setattr(building, "describe", stop)
    assert commands.main(["build", "--force", str(recipe)]) == 130
    assert capsys.readouterr().err == "stopped; nothing was replaced\n"
    assert _files(recipe.parent) == before


def _built(recipe: Path, capsys: pytest.CaptureFixture[str]) -> dict:
    capsys.readouterr()
    assert commands.main(["build", str(recipe), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_manifest_records_what_computes_and_is_the_same_every_time(recipe, capsys):
    path = recipe.parent / "out" / "manifest.json"
    first = path.read_bytes()
    versions = json.loads(first)["versions"]
    assert list(versions) == ["ladderlight", "python", "numba", "numpy", "pillow", "scikit-image", "scipy"]
    assert versions["python"] == platform.python_version()
    assert versions["numpy"] == np.__version__
    _built(recipe, capsys)
    assert path.read_bytes() == first


@pytest.mark.parametrize(
    ("versions", "inputs", "told"),
    [("1.26.4", "same", True), (np.__version__, "same", False), ("1.26.4", "new", False)],
)
def test_other_bytes_from_the_same_inputs_name_the_changed_version(recipe, capsys, versions, inputs, told):
    path = recipe.parent / "out" / "manifest.json"
    document = json.loads(path.read_text())
    document["versions"]["numpy"] = versions
    document["devices"][0]["sha256"] = "0" * 64
    if inputs == "new":
        document["inputs"][0]["sha256"] = "0" * 64
    path.write_text(json.dumps(document))
    found = [item for item in _built(recipe, capsys)["findings"] if item["where"] == "device picture"]
    assert [(item["level"], item["message"]) for item in found] == [
        (
            "caution",
            f"differs from the build before because of numpy {np.__version__} instead of 1.26.4 (same inputs); "
            "check the proof before burning",
        )
    ] * told


@pytest.mark.parametrize("text", ["", "{", '{"format": 1, "project": "a", "devices": [{"name": 3}]}'])
def test_a_damaged_manifest_does_not_stop_a_build(recipe, capsys, text):
    (recipe.parent / "out" / "manifest.json").write_text(text)
    assert _built(recipe, capsys)["ok"] is True
