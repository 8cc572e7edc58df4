"""The output folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from ladderlight import output
from ladderlight.errors import BuildError
from ladderlight.output import staged_output, write_whole


def fill(folder: Path, text: str) -> None:
    (folder / "devices").mkdir()
    (folder / "devices" / "picture.bin").write_text(text)
    (folder / "manifest.json").write_text(text)


def state(folder: Path) -> dict[str, str]:
    return {path.relative_to(folder).as_posix(): path.read_text() for path in folder.rglob("*") if path.is_file()}


def test_entries_are_put_in_place_and_others_left_alone(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "notes.txt").write_text("mine")
    for text in ("first", "second"):
        with staged_output(out) as folder:
            fill(folder, text)
    assert state(out) == {"notes.txt": "mine", "devices/picture.bin": "second", "manifest.json": "second"}


def test_a_failure_inside_leaves_the_old_output_whole(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with staged_output(out) as folder:
        fill(folder, "old")
    before = state(out)
    with pytest.raises(RuntimeError), staged_output(out) as folder:
        fill(folder, "new")
        raise RuntimeError
    assert state(out) == before


@pytest.mark.parametrize("fails_at", range(4))
def test_a_failure_while_putting_in_place_is_undone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails_at: int
) -> None:
    out = tmp_path / "out"
    with staged_output(out) as folder:
        fill(folder, "old")
    before = state(out)
    moves = 0
    move = output._move

    def failing(source: Path, target: Path, moved: list[tuple[Path, Path]]) -> None:
        nonlocal moves
        moves += 1
        if moves == fails_at + 1:
            raise OSError("no room")
        move(source, target, moved)

    monkeypatch.setattr(output, "_move", failing)
    with pytest.raises(BuildError, match="no room"), staged_output(out) as folder:
        fill(folder, "new")
    assert state(out) == before


def test_entries_that_no_build_has_written_are_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "devices").mkdir()
    (tmp_path / "devices" / "precious.txt").write_text("mine")
    with pytest.raises(BuildError, match="has devices that no build has written"), staged_output(tmp_path):
        pass
    assert state(tmp_path) == {"devices/precious.txt": "mine"}


def test_a_file_in_the_place_of_the_folder_is_reported(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(BuildError, match="is a file; choose another output folder"), staged_output(tmp_path / "out"):
        pass


def test_one_file_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "deep" / "burned.json"
    write_whole(path, b"first")
    write_whole(path, b"second")
    assert path.read_bytes() == b"second"
    assert [entry.name for entry in path.parent.iterdir()] == ["burned.json"]

    def full(self: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(BuildError, match=r"burned\.json: cannot be written \(No space left on device\)"):
        write_whole(path, b"third")
    assert path.read_bytes() == b"second"
    assert [entry.name for entry in path.parent.iterdir()] == ["burned.json"]
