from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ladderlight.recipe.files import idle_exclusions, missing_file, natural_key, picture_files


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    project = tmp_path / "project"
    for name in ("a/p10.jpg", "a/p2.jpg", "a/P1.jpg", "a/x[1].png", "a/b/p3.jpg", "a/note.txt", "a/.hidden.jpg"):
        (project / name).parent.mkdir(parents=True, exist_ok=True)
        (project / name).write_bytes(b"")
    (tmp_path / "outside.jpg").write_bytes(b"")
    return project


def sources(folder: Path, *patterns: str) -> list[str]:
    files, problems = picture_files(folder, patterns)
    assert problems == []
    assert all(file.path.samefile(folder / file.source) for file in files)
    return [file.source for file in files]


def test_natural_order_then_the_order_listed(folder: Path) -> None:
    assert sources(folder, "a/*.jpg") == ["a/P1.jpg", "a/p2.jpg", "a/p10.jpg"]
    assert sources(folder, "a/p10.jpg", "a/*.jpg") == ["a/p10.jpg", "a/P1.jpg", "a/p2.jpg"]


def test_each_file_once(folder: Path) -> None:
    assert sources(folder, "a/p2.jpg", "./a/p2.jpg", "a/b/../p?.jpg") == ["a/p2.jpg"]


def test_folders_below_and_above(folder: Path) -> None:
    assert sources(folder, "a/**/*3.jpg") == ["a/b/p3.jpg"]
    assert sources(folder, "../*.jpg") == ["../outside.jpg"]
    assert sources(folder, str(folder / "a" / "p2.jpg")) == ["a/p2.jpg"]


def test_names_with_the_characters_of_patterns(folder: Path) -> None:
    assert sources(folder, "a/x[1].png") == ["a/x[1].png"]


def test_patterns_pass_over_the_files_of_systems_and_names_do_not(folder: Path) -> None:
    for name in ("Thumbs.db", "desktop.ini", "ehthumbs.db", ".DS_Store", "._p2.jpg"):
        (folder / "a" / name).write_bytes(b"")
    every = ["a/note.txt", "a/P1.jpg", "a/p2.jpg", "a/p10.jpg", "a/x[1].png"]
    assert sources(folder, "a/*") == every
    assert sources(folder, "a/**") == ["a/b/p3.jpg", *every]
    assert sources(folder, "a/._p2.jpg", "a/Thumbs.db") == ["a/._p2.jpg", "a/Thumbs.db"]
    _, problems = picture_files(folder, ["a/T*.db"])
    assert [problem.what for problem in problems] == ["'a/T*.db' matches no file"]


def test_an_exclamation_mark_leaves_out_what_was_listed_before(folder: Path) -> None:
    assert sources(folder, "a/*.jpg", "!a/p1*.jpg") == ["a/P1.jpg", "a/p2.jpg"]
    assert sources(folder, "a/*.jpg", "!a/p1*.jpg", "a/p10.jpg") == ["a/P1.jpg", "a/p2.jpg", "a/p10.jpg"]
    assert sources(folder, "!a/p2.jpg", "a/p?.jpg") == ["a/p2.jpg"]
    assert sources(folder, "a/*", "!a/x[1].png", "!a/*.txt", "!./a/p2.jpg") == ["a/P1.jpg", "a/p10.jpg"]
    (folder / "!p.jpg").write_bytes(b"")
    assert sources(folder, "!p.jpg") == ["!p.jpg"]


def test_nothing_left(folder: Path) -> None:
    files, problems = picture_files(folder, ["a/*", "!a/*"])
    assert files == []
    assert [(p.where, str(p)) for p in problems] == [((), 'no picture is left; list some before what "!" leaves out')]


def test_exclamation_marks_that_leave_out_nothing(folder: Path) -> None:
    def idle(*patterns: str) -> list[str]:
        return list(idle_exclusions(folder, patterns))

    assert idle("a/*.jpg", "!a/p1*.jpg") == []
    assert idle("a/*.jpg", "!p1*.jpg") == ["'!p1*.jpg' leaves out nothing; did you mean '!a/p1*.jpg'?"]
    assert idle("!a/p2.jpg", "a/*.jpg") == ["'!a/p2.jpg' leaves out nothing; put it after the pattern that lists them"]
    assert idle("a/*.jpg", "!a/p3.jpg") == ["'!a/p3.jpg' leaves out nothing; did you mean '!a/p2.jpg'?"]
    assert idle("a/*.jpg", "!draft/*") == ["'!draft/*' leaves out nothing; check the pattern, or leave it out"]


@pytest.mark.parametrize("pattern", ["closed/*.png", "closed/p.png"])
def test_a_folder_that_may_not_be_read(folder: Path, monkeypatch: pytest.MonkeyPatch, pattern: str) -> None:
    (folder / "closed").mkdir(mode=0)
    monkeypatch.setattr("os.access", lambda path, mode: Path(path).name != "closed")  # the tests may run as root
    files, (problem,) = picture_files(folder, [pattern])
    assert files == []
    assert problem.what.removeprefix(f"{pattern!r} matches no file: ") == (
        "folder 'closed' cannot be read (Permission denied)"
    )
    assert problem.action == "check its permissions"


@pytest.mark.parametrize(
    ("pattern", "message"),
    [
        ("a/p3.jpg", "there is no file 'a/p3.jpg'; did you mean 'a/p2.jpg'?"),
        ("a/zebra.tiff", "there is no file 'a/zebra.tiff'; check the path; it is relative to the recipe"),
        ("b/p2.jpg", "there is no folder 'b'; check the path; it is relative to the recipe"),
        ("a", "'a' is a folder; write \"a/*.png\" for the PNG files in it"),
        ("a/", "'a/' is a folder; write \"a/*.png\" for the PNG files in it"),
        ("a/*.jpeg", "'a/*.jpeg' matches no file; check the pattern; the folder holds 4 .jpg, 1 .png, 1 .txt"),
        ("c/*.jpg", "'c/*.jpg' matches no file: there is no folder 'c'; check the path"),
        ("a/?/", "'a/?/' matches no file; check the pattern; the folder holds 4 .jpg, 1 .png, 1 .txt"),
        ("*.jpg", "'*.jpg' matches no file; check the pattern, or put the pictures there"),
    ],
)
def test_patterns_that_match_nothing(folder: Path, pattern: str, message: str) -> None:
    files, problems = picture_files(folder, ["a/p2.jpg", pattern])
    assert len(files) == 1
    assert [(p.where, str(p)) for p in problems] == [((1,), message)]


def test_a_missing_file_that_is_a_folder(folder: Path) -> None:
    assert missing_file(folder, "a") == ("'a' is a folder", "name a file in it")


def test_natural_keys() -> None:
    names = ["p10", "p9", "P1b", "p1a", "p", "10", "9", "p01", "q1"]
    assert sorted(names, key=natural_key) == ["9", "10", "p", "p01", "p1a", "P1b", "p9", "p10", "q1"]


@given(st.text(), st.text())
def test_natural_keys_compare_whatever_the_name(first: str, second: str) -> None:
    assert isinstance(natural_key(first) < natural_key(second), bool)
