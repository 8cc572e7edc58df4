"""Processes give what threads give, and a picture that ends them is named."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ladderlight import commands
from ladderlight.engine.executors.processes import on_processes
from ladderlight.engine.runner import Chain
from ladderlight.errors import PictureError
from ladderlight.recipe.inputs import input_files, seen_inputs


def test_processes_give_the_files_that_threads_give(project, capsys) -> None:
    recipe, out = str(project.folder / "recipe.toml"), project.folder / "out"

    def built(*options: str) -> dict[str, bytes]:
        assert commands.main(["build", "--no-cache", "--quiet", *options, recipe]) == 0, capsys.readouterr().err
        return {path.name: path.read_bytes() for path in out.rglob("*") if path.is_file() and path.suffix != ".lock"}

    before = built()
    assert "manifest.json" in before
    assert built("--processes", "--workers", "2") == before


def test_a_picture_in_which_a_process_ends_twice_is_named_and_the_others_are_coded(project, capsys) -> None:
    project.add_reef()
    recipe = project.load()
    shown: list[str] = []
    with on_processes(2) as executor, pytest.raises(PictureError) as error:
        Chain(recipe=recipe).code_pictures(executor=executor, progress=lambda done, total, source: shown.append(source))
    assert [fault.where for fault in error.value.faults] == ["reef.png"]
    assert "every worker process that takes it ends" in str(error.value)
    assert set(shown) == {file.source for file in recipe.files}


def test_a_process_that_ends_once_costs_time_alone(project, tmp_path: Path) -> None:
    project.add_reef()
    project.write_plugin(gate=tmp_path / "no")
    coded = Chain(recipe=project.load()).code_pictures()
    before, views = [picture.codes for picture in coded], coded.views()
    gate = tmp_path / "gate"
    gate.touch()
    project.write_plugin(gate=gate)
    recipe = project.load()
    with on_processes(2) as executor:
        found = Chain(recipe=recipe, seen=seen_inputs(input_files(recipe), {})).code_pictures(executor=executor)
        assert not gate.exists()
        assert all(map(np.array_equal, (picture.codes for picture in found), before))
        assert found.views() == views
    assert len(before) == len(found) == 9
