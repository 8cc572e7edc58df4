"""Folders of the last build that stay in place of new ones that would be the same."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from pathlib import Path

import pytest

from ladderlight.errors import BuildError
from ladderlight.storage.output import Staging, staged_output
from ladderlight.system.paths import mark_of

from .conftest import FILES, Project, whole

STAYING = ("devices/left", "proof/screens")


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def build_on(project: Project, text: str, *, meanwhile: str = "", **files: str) -> bool:
    """Build, with folders that stay if they can; ``files`` are expected in them beside those of a first build.

    A file in ``meanwhile`` is changed during the build.
    """
    kept = {name: digest("first") for name in FILES if name.startswith(STAYING)} | files
    with staged_output(project.out, project.owner) as staging:
        marks = {name: found for name in kept if (found := mark_of(project.out / name)) is not None}
        stays = staging.keep(STAYING, kept, marks)
        if meanwhile:
            (project.out / meanwhile).write_text("mine")
        write(staging, text, [name for name in FILES if not (stays and name in kept)])
    return stays


def write(staging: Staging, text: str, names: list[str]) -> None:
    for name in names:
        (staging.folder / name).parent.mkdir(parents=True, exist_ok=True)
        (staging.folder / name).write_text(text)


def numbers(project: Project) -> dict[str, int]:
    return {name: (project.out / name).stat().st_ino for name in FILES if (project.out / name).exists()}


def test_folders_stay_with_all_that_is_in_them_and_are_in_the_record(project: Project) -> None:
    project.build("first")
    project.put({"devices/left/notes.txt": "mine", "proof/screens/own/notes.txt": "mine", "devices/notes.txt": "mine"})
    before = numbers(project)
    assert build_on(project, "second")
    mine = dict.fromkeys(("devices/left/notes.txt", "proof/screens/own/notes.txt", "devices/notes.txt"), "mine")
    staying = {"devices/left/map.bin": "first", "proof/screens/bank0.png": "first"}
    assert project.state() == whole("second") | mine | staying
    assert [name for name in FILES if numbers(project)[name] == before[name]] == list(staying)
    record = json.loads((project.out / ".ladderlight" / "record.json").read_text())
    assert record["files"] == {name: digest(staying.get(name, "second")) for name in FILES}
    project.build("third")  # which knows these files for its own
    assert project.state() == whole("third") | mine
    assert project.private() == {"record.json"}


def test_a_folder_does_not_stay_where_the_last_build_made_another_file_in_it(project: Project) -> None:
    project.build("first", *FILES, "devices/left/more.bin")
    assert not build_on(project, "second")
    assert project.state() == whole("second")
    assert not build_on(project, "third", **{"devices/left/gone.bin": digest("first")})
    assert project.state() == whole("third")


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("name", ["devices/left", "devices"])
def test_a_folder_does_not_stay_where_a_link_is_in_its_place(project: Project, tmp_path: Path, name: str) -> None:
    project.build("first")
    shutil.move(project.out / name, tmp_path / "elsewhere")
    (project.out / name).symlink_to(tmp_path / "elsewhere")
    with pytest.raises(BuildError, match=f"{name}: is not from the last build"):
        build_on(project, "second")


def test_a_file_that_changes_during_the_build_stops_it(project: Project) -> None:
    project.build("first")
    with pytest.raises(BuildError, match=r"proof/screens: was changed during the build; build again; nothing was rep"):
        build_on(project, "second", meanwhile="proof/screens/bank0.png")
    assert project.state() == whole("first") | {"proof/screens/bank0.png": "mine"}
    assert project.private() == {"record.json"}
