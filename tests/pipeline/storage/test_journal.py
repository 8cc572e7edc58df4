"""The journal of a build that was killed, as the next command finds it."""

from __future__ import annotations

import json
import shutil

import pytest

from ladderlight.errors import BuildError
from ladderlight.storage.output import settled

from .conftest import NOTES, Project, whole


def test_a_journal_that_leads_out_of_the_folder_is_refused(project: Project) -> None:
    project.build("first")
    begun = {"format": 2, "aside": ["../recipe.toml"], "carried": {}, "placed": ["manifest.json"]}
    project.put({".ladderlight/journal.json": json.dumps(begun)})
    with pytest.raises(BuildError, match=r"journal\.json: the journal of an interrupted build is damaged"):
        project.build("second")
    assert project.state() == whole("first")


@pytest.mark.parametrize(
    "damage",
    [
        "",
        "{",
        "[]",
        "null",
        '{"format": 2}',
        '{"format": 2, "aside": [], "carried": [], "placed": []}',
        '{"format": 2, "aside": [], "carried": {"a": 1}, "placed": []}',
        '{"format": 3, "aside": [], "carried": {}, "placed": []}',
    ],
)
def test_a_damaged_journal_is_reported_in_our_words(project: Project, damage: str) -> None:
    project.build("first")
    project.put({".ladderlight/journal.json": damage})
    with pytest.raises(BuildError) as error:
        project.build("second")
    assert str(error.value) == (
        f"{project.out}/.ladderlight/journal.json: the journal of an interrupted build is damaged; "
        f"move {project.out} away and build again"
    )


def test_a_journal_is_finished_by_whatever_comes_next(project: Project) -> None:
    project.build("first")
    project.put(NOTES)
    private = project.out / ".ladderlight"
    new = Project(folder=project.folder / "aside")
    new.build("second")
    shutil.move(new.out, private / "new")
    for folder in (private / "old" / ".ladderlight", private / "new" / "devices" / "left"):
        folder.mkdir(parents=True, exist_ok=True)
    (project.out / "manifest.json").rename(private / "old" / "manifest.json")
    begun = {
        "format": 2,
        "aside": ["manifest.json", "burn-sheet.txt", "devices", "proof", ".ladderlight/record.json"],
        "carried": {name: name for name in ("devices/left/read", "devices/notes.txt")},
        "placed": [".ladderlight/record.json", "burn-sheet.txt", "devices", "proof", "manifest.json"],
    }
    (private / "journal.json").write_text(json.dumps(begun))
    with settled(project.out):
        assert project.state() == whole("second") | NOTES
    assert project.private() == {"record.json"}
