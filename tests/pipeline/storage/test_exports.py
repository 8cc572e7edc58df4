"""Single files that a command writes."""

from __future__ import annotations

import errno
import io
import os
from pathlib import Path

import pytest
from PIL import Image

from ladderlight.errors import BuildError
from ladderlight.storage import writing
from ladderlight.storage.exports import export, marked
from ladderlight.storage.locking import locked
from ladderlight.storage.writing import made_here, write_whole

PAGE = b"<!DOCTYPE html>\n<html>\n<head>\n<title>Lobby</title>\n</head>\n<p>384 x 256</p>\n</html>\n"


def png(level: int) -> bytes:
    file = io.BytesIO()
    Image.new("L", (3, 2), level).save(file, format="PNG")
    return file.getvalue()


def put(path: Path, data: bytes = PAGE, *, command: str = "check --page", inputs: tuple[Path, ...] = ()) -> None:
    export({path: data}, command=command, inputs=inputs)


@pytest.mark.parametrize(("first", "second"), [(PAGE, PAGE.replace(b"384", b"256")), (png(7), png(9))])
def test_a_command_replaces_its_own_file_only_while_nobody_has_changed_it(
    tmp_path: Path, first: bytes, second: bytes
) -> None:
    path = tmp_path / "made" / "page"
    put(path, first)
    put(path, second)
    assert path.read_bytes() == marked(second, "check --page")
    with pytest.raises(BuildError) as error:
        put(path, first, command="decode --into")
    assert str(error.value) == (
        f"{path}: is not what decode --into wrote there before, or was changed since; choose another name"
    )
    changed = marked(second, "check --page")[:-8] + b"\n\0\0\0\0\0\0\0"
    path.write_bytes(changed)
    with pytest.raises(BuildError, match="was changed since"):
        put(path, first)
    assert path.read_bytes() == changed
    assert [entry.name for entry in path.parent.iterdir()] == ["page"]


def test_a_marked_picture_is_read_as_before() -> None:
    with Image.open(io.BytesIO(marked(png(7), "decode --into"))) as picture:
        picture.load()
        assert picture.getpixel((2, 1)) == 7
        assert picture.text["Software"].startswith("Ladderlight decode --into, ")


@pytest.mark.parametrize("content", [b"", b"format = 1\n", PAGE, png(1), b"\x89PNG\r\n\x1a\n"])
def test_any_other_file_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "kept"
    path.write_bytes(content)
    with pytest.raises(BuildError, match="kept: is not what check --page wrote there before"):
        put(path)
    assert path.read_bytes() == content


def test_folders_and_devices_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BuildError, match="is not a file; choose another name"):
        put(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(BuildError, match="pipe: is not a file"):
            put(tmp_path / "pipe")


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_an_input_is_never_written_over_by_whatever_name(tmp_path: Path) -> None:
    picture = tmp_path / "bank0.png"
    put(picture, png(7))
    (tmp_path / "link.png").symlink_to(picture)
    (tmp_path / "twin.png").hardlink_to(picture)
    for name in ("bank0.png", "link.png", "twin.png"):
        with pytest.raises(BuildError, match=rf"{name}: is an input"):
            put(tmp_path / name, png(9), inputs=(tmp_path / "missing.png", picture))
    assert picture.read_bytes() == marked(png(7), "check --page")
    put(tmp_path / "link.png", png(9))
    assert (tmp_path / "link.png").readlink() == picture
    assert picture.read_bytes() == marked(png(9), "check --page")
    assert (tmp_path / "twin.png").read_bytes() == marked(png(7), "check --page")


def test_all_that_may_not_be_written_is_named_and_nothing_is(tmp_path: Path) -> None:
    (tmp_path / "bank1.png").write_bytes(png(1))
    (tmp_path / "bank3.png").write_bytes(png(3))
    with pytest.raises(BuildError) as error:
        export({tmp_path / f"bank{bank}.png": png(9) for bank in range(4)}, command="decode --into", inputs=())
    assert [fault.where for fault in error.value.faults] == [str(tmp_path / f"bank{bank}.png") for bank in (1, 3)]
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["bank1.png", "bank3.png"]


def test_one_file_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "deep" / "burned.json"
    write_whole(path, b"first")
    path.chmod(0o600)
    (path.parent / ".burned.json.ladderlight").write_bytes(b"left by a program that was killed")
    write_whole(path, b"second")
    assert path.read_bytes() == b"second"
    assert path.stat().st_mode & 0o777 == 0o600
    assert [entry.name for entry in path.parent.iterdir()] == ["burned.json"]

    def full(self: Path, target: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(
        BuildError, match=r"burned\.json: cannot be written \(No space left on device\); choose another"
    ):
        write_whole(path, b"third")
    with pytest.raises(BuildError):
        write_whole(tmp_path / "new" / "folder" / "page.html", b"third")
    assert path.read_bytes() == b"second"
    assert [entry.name for entry in path.parent.iterdir()] == ["burned.json"]
    assert [entry.name for entry in tmp_path.iterdir()] == ["deep"]


@pytest.mark.skipif(os.name == "nt", reason="no lock is held there")
def test_two_writers_of_one_file_wait_for_each_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writing, "_PATIENCE", 0.0)
    with (
        locked(tmp_path / ".burned.json.ladderlight"),
        pytest.raises(BuildError, match=r"cannot be written \(another program is writing it\)"),
    ):
        write_whole(tmp_path / "burned.json", b"first")


def test_what_was_made_is_taken_back_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    with pytest.raises(KeyboardInterrupt), made_here() as made:
        made.folder(tmp_path / "new" / "deep")
        made.folder(tmp_path / "kept" / "deep")
        made.file(tmp_path / "new" / "deep" / "recipe.toml", b"format = 1")
        (tmp_path / "kept" / "deep" / "notes.txt").write_text("mine")
        raise KeyboardInterrupt
    assert sorted(path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*")) == [
        "kept",
        "kept/deep",
        "kept/deep/notes.txt",
    ]
