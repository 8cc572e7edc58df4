"""The output folder: whose it is, what of it is replaced, and what is left alone."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import signal
from dataclasses import replace
from pathlib import Path

import pytest

from ladderlight.errors import BuildError
from ladderlight.storage import journal, output
from ladderlight.storage.output import refuse_foreign, settled
from ladderlight.storage.record import Owner

from .conftest import FILES, NOTES, Project, whole

APP = {"name": "Merrowhithe tides", "start_url": "/", "icons": [], "display": "standalone"}
"""A manifest of another program, with the members that W3C Web Application Manifest names."""

OLD_MANIFEST = {
    "format": 1,
    "project": "Merrowhithe lobby",
    "devices": [
        {"name": "picture", "memory": "picture", "part": "27C010", "sha256": "0" * 64, "files": ["picture.bin"]},
        {"name": "map", "memory": "map", "part": "27C010", "sha256": "0" * 64, "files": ["left/map.bin"]},
    ],
    "inputs": [{"file": "recipe.toml", "bytes": 3, "sha256": "0" * 64}],
    "notes": [],
    "pictures": [],
}
"""What builds wrote that kept no record."""


def old_build(project: Project, /, **changes: object) -> dict[str, str]:
    """Put a build there that kept no record."""
    manifest = json.dumps(OLD_MANIFEST | changes)
    project.put(whole("old") | {"manifest.json": manifest})
    return whole("old") | {"manifest.json": manifest}


def test_a_build_replaces_the_files_of_the_last_and_no_others(project: Project) -> None:
    project.build("first", *FILES, "devices/right/map.bin", "proof/screens/bank1.png")
    project.put(NOTES | {"devices/right/notes.txt": "mine"})
    (project.out / "proof" / "empty").mkdir()
    project.build("second")
    assert project.state() == whole("second") | NOTES | {"devices/right/notes.txt": "mine"}
    assert (project.out / "proof" / "empty").is_dir()
    assert project.private() == {"record.json"}


def test_the_record_depends_on_the_files_and_the_recipe_alone(tmp_path: Path) -> None:
    records = []
    for place in ("here", "elsewhere/there"):
        (tmp_path / place).mkdir(parents=True)
        project = Project(folder=tmp_path / place)
        project.build("text")
        records.append((project.out / ".ladderlight" / "record.json").read_bytes())
    assert records[0] == records[1]
    digest = hashlib.sha256(b"text").hexdigest()
    assert json.loads(records[0]) == {"format": 2, "recipe": "../recipe.toml", "files": dict.fromkeys(FILES, digest)}


def test_a_project_that_is_moved_is_built_on(tmp_path: Path) -> None:
    (tmp_path / "here").mkdir()
    Project(folder=tmp_path / "here").build("first")
    shutil.move(tmp_path / "here", tmp_path / "there")
    moved = Project(folder=tmp_path / "there")
    moved.build("second")
    assert moved.state() == whole("second")


def test_the_build_of_another_recipe_is_refused(project: Project) -> None:
    project.build("first")
    (project.folder / "recipe.toml").touch()
    other = Project(folder=project.folder, recipe="ferry.toml")
    with pytest.raises(BuildError) as error:
        other.build("other")
    assert str(error.value) == (
        f"{project.out}: holds the build of another recipe, {project.folder / 'recipe.toml'}; "
        "choose another output folder, "
        "or delete this one"
    )
    assert project.state() == whole("first")


def test_a_recipe_that_was_renamed_builds_on_as_long_as_its_project_is_the_same(project: Project) -> None:
    manifest = json.dumps({"format": 1, "project": "Merrowhithe pier", "devices": []})
    project.build("first")
    (project.out / "manifest.json").write_text(manifest)
    renamed = Owner(recipe=project.folder / "pier.toml", project="Merrowhithe pier")
    refuse_foreign(project.out, renamed)
    for owner, gone in ((replace(renamed, project="Another"), ", which is gone"), (renamed, "")):
        if not gone:
            (project.folder / "recipe.toml").touch()
        with pytest.raises(BuildError, match=rf"of another recipe, {project.folder / 'recipe.toml'}{gone}; choose"):
            refuse_foreign(project.out, owner)


def test_another_program_with_a_manifest_makes_no_folder_ours(project: Project) -> None:
    files = {"manifest.json": json.dumps(APP), "devices/phones.css": "mine", "proof/of/age.txt": "mine"}
    project.put(files)
    with pytest.raises(BuildError, match=r"has devices, proof, manifest\.json that no build has written; move it away"):
        project.build("first")
    assert project.state() == files


@pytest.mark.parametrize(
    "other",
    [
        APP,
        {"format": "x", "name": "web"},
        {"format": 1, "project": "web", "devices": 3},
        {"format": 1, "devices": []},
        {"format": 2, "project": "web", "devices": []},
        {},
    ],
)
def test_a_manifest_that_another_program_has_put_into_our_folder_is_not_replaced(
    project: Project, other: dict[str, object]
) -> None:
    project.build("first")
    project.put({"manifest.json": json.dumps(other)})
    with pytest.raises(BuildError) as error:
        project.build("second")
    where = project.out / "manifest.json"
    assert str(error.value) == (
        f"{where}: is not the manifest of a build; move it away or choose another output folder"
    )
    assert project.state() == whole("first") | {"manifest.json": json.dumps(other)}


def _overdue(*_: object) -> None:
    pytest.fail("waits for a pipe")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("name", ["manifest.json", "record.json", "journal.json"])
def test_a_build_does_not_wait_for_a_pipe_in_place_of_its_own_file(project: Project, name: str) -> None:
    project.build("first")
    path = project.out / name if name == "manifest.json" else project.out / ".ladderlight" / name
    path.unlink(missing_ok=True)
    os.mkfifo(path)
    before = signal.signal(signal.SIGALRM, _overdue)
    signal.alarm(5)
    try:
        if name == "manifest.json":
            project.build("second")
            assert project.state() == whole("second")
        else:
            with pytest.raises(BuildError, match=r"(that no build has written|cannot be read)"):
                project.build("second")
            assert project.state() == whole("first")
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize(
    "damage",
    [b"", "{}".encode("utf-16"), b"[" * 100_000, b"\xff\xfe{}", b'{"format": 1, "devices": [', b"[]", b"null"],
)
def test_a_damaged_manifest_does_not_stop_a_build(project: Project, damage: bytes) -> None:
    project.build("first")
    (project.out / "manifest.json").write_bytes(damage)
    project.build("second")
    assert (project.out / "edited" / "manifest.json").read_bytes() == damage
    shutil.rmtree(project.out / "edited")
    assert project.state() == whole("second")


@pytest.mark.parametrize("damage", [b"", b"[" * 100_000, b"{}", b'{"format": 1, "recipe": "../r", "files": ["../x"]}'])
def test_without_its_record_a_folder_is_known_by_its_manifest(project: Project, damage: bytes) -> None:
    project.build("first")
    (project.out / ".ladderlight" / "record.json").write_bytes(damage)
    with pytest.raises(BuildError, match="that no build has written"):  # "first" is no manifest
        project.build("second")
    project.put({"manifest.json": json.dumps(OLD_MANIFEST)})
    project.build("second")
    assert project.state() == whole("second")


def test_a_build_without_a_record_is_replaced_and_what_it_has_not_made_stays(project: Project) -> None:
    old_build(project)
    project.put(NOTES | {"proof/screens/holiday.png": "mine", "proof/screens/bank7.png": "old"})
    project.build("new")
    assert project.state() == whole("new") | NOTES | {"proof/screens/holiday.png": "mine"}


@pytest.mark.parametrize(
    "changes",
    [{"project": "Merrowhithe ferries"}, {"inputs": [{"file": "ferry.toml", "bytes": 3, "sha256": "0" * 64}]}],
)
def test_a_build_without_a_record_of_another_recipe_is_refused(project: Project, changes: dict[str, object]) -> None:
    before = old_build(project, **changes)
    with pytest.raises(BuildError, match=r"holds the build of another recipe, (recipe|ferry)\.toml of 'Merrowhithe "):
        project.build("new")
    assert project.state() == before


@pytest.mark.parametrize("missing", ["format", "project", "devices", "inputs", "notes", "pictures"])
def test_a_manifest_that_lacks_a_key_is_not_ours(project: Project, missing: str) -> None:
    manifest = {key: value for key, value in OLD_MANIFEST.items() if key != missing}
    project.put({"manifest.json": json.dumps(manifest)})
    with pytest.raises(BuildError, match=r"has manifest\.json that no build has written"):
        project.build("new")


def test_entries_that_no_build_has_written_are_not_replaced(project: Project) -> None:
    project.put({"devices/precious.txt": "mine"})
    with pytest.raises(BuildError, match="has devices that no build has written"):
        project.build("first")
    assert project.state() == {"devices/precious.txt": "mine"}


def test_a_new_file_replaces_none_of_the_user(project: Project) -> None:
    project.build("first")
    project.put({"devices/picture.hex": "mine", "devices/right": "mine"})
    with pytest.raises(BuildError) as error:
        project.build("second", *FILES, "devices/picture.hex", "devices/right/map.bin")
    assert str(error.value).splitlines() == [
        f"{project.out}/devices/{name}: is not from the last build, and a new file would replace it; move it away"
        for name in ("picture.hex", "right")
    ]
    assert project.state() == whole("first") | {"devices/picture.hex": "mine", "devices/right": "mine"}
    assert project.private() == {"record.json"}


def test_a_folder_of_the_user_in_place_of_a_file_is_not_replaced(project: Project) -> None:
    project.build("first")
    (project.out / "burn-sheet.txt").unlink()
    project.put({"burn-sheet.txt/ticked.txt": "mine"})
    with pytest.raises(BuildError, match=r"burn-sheet\.txt: is not from the last build"):
        project.build("second")
    assert project.state()["burn-sheet.txt/ticked.txt"] == "mine"


def test_files_of_the_user_whose_folder_becomes_a_file_are_not_lost(project: Project) -> None:
    project.build("first")
    project.put({"devices/left/notes.txt": "mine"})
    with pytest.raises(BuildError, match=r"devices/left/notes\.txt: is not from the last build"):
        project.build("second", "devices/left", "manifest.json")
    assert project.state() == whole("first") | {"devices/left/notes.txt": "mine"}


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_links_are_not_followed(project: Project) -> None:
    project.build("first")
    elsewhere = project.folder / "elsewhere"
    shutil.move(project.out / "devices", elsewhere)
    (project.out / "devices").symlink_to(elsewhere)
    with pytest.raises(BuildError, match="devices: is not from the last build"):
        project.build("second")
    assert (elsewhere / "picture.bin").read_text() == "first"
    (project.out / "devices").unlink()
    (project.out / "proof" / "screens" / "more").symlink_to(elsewhere)
    (project.out / "burn-sheet.txt").unlink()
    (project.out / "burn-sheet.txt").symlink_to(elsewhere / "picture.bin")
    project.build("second")
    assert (elsewhere / "picture.bin").read_text() == "first"
    assert (project.out / "proof" / "screens" / "more").readlink() == elsewhere
    assert not (project.out / "burn-sheet.txt").is_symlink()
    shutil.rmtree(project.out / ".ladderlight")
    (project.out / ".ladderlight").symlink_to(elsewhere)
    with pytest.raises(BuildError, match=r"\.ladderlight is not a folder"):
        project.build("third")


def test_a_failure_inside_leaves_the_last_build_whole(project: Project) -> None:
    project.build("old")
    with pytest.raises(RuntimeError), output.staged_output(project.out, project.owner) as staging:
        (staging.folder / "manifest.json").write_text("new")
        raise RuntimeError
    assert project.state() == whole("old")
    assert project.private() == {"record.json"}


def test_after_its_end_a_build_takes_no_files_of_threads_that_were_left_behind(project: Project) -> None:
    with pytest.raises(RuntimeError), output.staged_output(project.out, project.owner) as staging:
        assert staging.write("devices/a.bin", b"new") == hashlib.sha256(b"new").hexdigest()
        raise RuntimeError
    with pytest.raises(BuildError, match=r"has ended before devices/b\.bin was written"):
        staging.write("devices/b.bin", b"late")
    assert not staging.folder.exists()


def test_a_file_in_the_place_of_the_folder_is_reported(project: Project) -> None:
    project.out.write_text("a file")
    with pytest.raises(BuildError, match="is a file; choose another output folder"):
        project.build("first")
    assert project.out.read_text() == "a file"


def test_what_an_earlier_build_has_left_and_cannot_be_removed_stops_a_build(
    project: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    project.build("first")
    project.put({".ladderlight/old/devices/picture.bin": "before"})
    monkeypatch.setattr(journal, "remove_tree", lambda _: None)
    old = project.out / ".ladderlight" / "old"
    with pytest.raises(BuildError) as error:
        project.build("second")
    assert str(error.value) == (
        f"{project.out}: cannot be written ({old}: File exists); choose another output folder; nothing was replaced"
    )
    assert project.state() == whole("first")


@pytest.mark.parametrize(
    ("number", "action"),
    [
        (errno.EROFS, "choose another output folder"),
        (errno.EACCES, "choose another output folder"),
        (errno.ENOSPC, "make room or choose another output folder"),
        (errno.EDQUOT, "make room or choose another output folder"),
    ],
)
def test_a_folder_that_cannot_be_made_is_named_once_with_what_helps(
    project: Project, monkeypatch: pytest.MonkeyPatch, number: int, action: str
) -> None:
    def refuse(path: Path, *_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number), str(project.out))

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(BuildError) as error:
        project.build("first")
    assert str(error.value) == (
        f"{project.out}: cannot be written ({os.strerror(number)}); {action}; nothing was replaced"
    )


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_recipe_by_another_name_of_the_same_file_is_the_same(project: Project) -> None:
    (project.folder / "recipe.toml").write_text("format = 1")
    project.build("first")
    (project.folder / "RECIPE.toml").hardlink_to(project.folder / "recipe.toml")
    Project(folder=project.folder, recipe="RECIPE.toml").build("second")
    assert project.state() == whole("second")


def test_reading_makes_nothing(project: Project) -> None:
    with settled(project.out):
        assert not project.out.exists()
    project.put({"notes.txt": "mine"})
    with settled(project.out):
        assert [path.name for path in project.out.iterdir()] == ["notes.txt"]
