"""Files of the last build that the user has changed."""

from __future__ import annotations

import json

from ladderlight.storage.output import staged_output

from .conftest import FILES, Project, whole


def test_a_file_that_the_user_has_changed_is_kept(project: Project) -> None:
    project.build("first")
    for number, folder in enumerate(("edited", "edited-2"), start=1):
        project.put({"burn-sheet.txt": f"ticked {number}", "devices/left/map.bin": f"patched {number}"})
        with staged_output(project.out, project.owner) as staging:
            for name in FILES:
                (staging.folder / name).parent.mkdir(parents=True, exist_ok=True)
                (staging.folder / name).write_text(f"build {number}")
        assert staging.edited == {
            project.out / name: project.out / folder / name for name in ("burn-sheet.txt", "devices/left/map.bin")
        }
    assert project.state() == whole("build 2") | {
        f"{folder}/{name}": f"{word} {number}"
        for number, folder in enumerate(("edited", "edited-2"), start=1)
        for name, word in (("burn-sheet.txt", "ticked"), ("devices/left/map.bin", "patched"))
    }
    project.build("third", "manifest.json")
    assert "devices/left/map.bin" not in project.state()
    assert project.state()["edited-2/devices/left/map.bin"] == "patched 2"


def test_a_changed_file_that_the_next_build_does_not_have_is_kept_too(project: Project) -> None:
    project.build("first")
    project.put({"proof/screens/bank0.png": "retouched"})
    project.build("second", "proof/screens", "manifest.json")  # a file in place of its folder
    assert project.state() == whole("second", "proof/screens", "manifest.json") | {
        "edited/proof/screens/bank0.png": "retouched"
    }


def test_a_record_without_digests_is_built_on(project: Project) -> None:
    project.build("first")
    record = {"format": 1, "recipe": "../recipe.toml", "files": sorted(FILES)}
    project.put({".ladderlight/record.json": json.dumps(record), "burn-sheet.txt": "of another version"})
    project.build("second")
    assert project.state() == whole("second")
