"""Options that name a file to write: none of them writes over anything but the same command's own earlier output."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from ladderlight import starter
from ladderlight.commands import main

INPUTS = ("recipe.toml", "boards/sign.toml", "waiting.py", "pictures/grey.pgm")
RECORDS = ("out/manifest.json", "out/devices/picture.bin", "out/proof/index.html", "out/burn-sheet.txt", "burned.json")


@pytest.fixture
def built(sign: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """The small project, built, and its chip recorded."""
    assert main(["build", str(sign)]) == 0
    assert main(["burned", str(sign)]) == 0
    capsys.readouterr()
    return sign


def _files(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts}


@pytest.mark.parametrize("name", [*INPUTS, *RECORDS])
@pytest.mark.parametrize("command", ["check --page", "compare --picture"])
def test_a_file_that_is_not_the_command_s_own_is_named_and_kept(
    built: Path, capsys: pytest.CaptureFixture[str], command: str, name: str
) -> None:
    before = _files(built.parent)
    target = built.parent / name
    dump = [str(built.parent / "out" / "devices" / "picture.bin")] if "compare" in command else []
    word, option = command.split()
    assert main([word, str(built), *dump, option, str(target)]) == 1
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert said[0].startswith(f"{target}: is ")
    assert said[0].endswith("; choose another name")
    assert _files(built.parent) == before


def test_a_command_writes_its_own_file_again(built: Path, tmp_path: Path) -> None:
    dump = str(built.parent / "out" / "devices" / "picture.bin")
    for _ in range(2):
        assert main(["check", str(built), "--page", str(tmp_path / "page.html")]) == 0
        assert main(["compare", str(built), dump, "--picture", str(tmp_path / "damage.png")]) == 0
        assert main(["decode", str(built), dump, "--into", str(tmp_path / "decoded")]) == 0
    assert main(["compare", str(built), dump, "--picture", str(tmp_path / "decoded" / "bank0.png")]) == 1


@pytest.mark.parametrize(
    ("command", "name", "ending"),
    [
        ("check --page", "board.pdf", ".html"),
        ("check --page", "board", ".html"),
        ("compare --picture", "damage.jpg", ".png"),
    ],
)
def test_a_name_with_the_ending_of_another_format_is_refused(
    built: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, name: str, ending: str
) -> None:
    dump = [str(built.parent / "out" / "devices" / "picture.bin")] if "compare" in command else []
    word, option = command.split()
    assert main([word, str(built), *dump, option, str(tmp_path / name)]) == 2
    assert capsys.readouterr().err == f"{tmp_path / name}: does not end in {ending}; choose a name that does\n"
    assert not (tmp_path / name).exists()


def test_a_picture_that_a_build_is_made_from_is_not_decoded_over(
    built: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, dump = built.parent / "decoded", str(built.parent / "out" / "devices" / "picture.bin")
    assert main(["decode", str(built), dump, "--into", str(folder)]) == 0
    built.write_text(built.read_text().replace("pictures/*.pgm", "decoded/*.png"))
    before = _files(built.parent)
    capsys.readouterr()
    assert main(["decode", str(built), dump, "--into", str(folder)]) == 1
    assert capsys.readouterr().err == f"{folder / 'bank0.png'}: is an input; choose another name\n"
    assert _files(built.parent) == before


@pytest.mark.parametrize("command", ["check --page", "compare --picture", "decode --into"])
@pytest.mark.parametrize(
    ("patterns", "folder", "reason"),
    [
        ('"pictures/*"', "pictures", "would be a picture of the next build, by 'pictures/*'"),
        ('"pictures/*.pgm", "pict*/**/*"', "pictures/deep", "would be a picture of the next build, by 'pict*/**/*'"),
        ('"*/*.pgm", "./[a-z]*.*", "!*.toml", "!*.py"', ".", "would be a picture of the next build, by './[a-z]*.*'"),
        ('"pictures/*"', "other/../linked", "would be a picture of the next build, by 'pictures/*'"),
        ('"pictures/*"', "out/new", "is in the output folder, which is for builds"),
        ('"pictures/*", "!pictures/bank0.*"', "pictures", ""),
        ('"pictures/*"', "pictures/deep", ""),
    ],
)
def test_no_file_is_written_where_the_next_build_would_meet_it(
    built: Path, capsys: pytest.CaptureFixture[str], command: str, patterns: str, folder: str, reason: str
) -> None:
    if os.name == "nt" and "linked" in folder:
        pytest.skip("links need rights there")
    built.write_text(built.read_text().replace('"pictures/*.pgm"', patterns))
    if "linked" in folder:
        (built.parent / "linked").symlink_to(built.parent / "pictures")
        (built.parent / "other").mkdir()
    dump = [str(built.parent / "out" / "devices" / "picture.bin")] if "check" not in command else []
    target = built.parent / folder / ("bank0.html" if "page" in command else "bank0.png")
    before = _files(built.parent)
    word, option = command.split()
    status = main([word, str(built), *dump, option, str(target.parent if word == "decode" else target)])
    if reason:
        assert (status, capsys.readouterr().err) == (1, f"{target}: {reason}; choose another folder\n")
        assert _files(built.parent) == before
    else:
        assert status == 0
        assert target.is_file()


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("boards/sign.toml", "board"),
        ("waiting.py", "plugin"),
        ("pictures/grey.pgm", "picture"),
        ("words.bin", "file"),
        ("recipe.toml", "recipe"),
    ],
)
@pytest.mark.parametrize("linked", [False, True])
def test_an_input_in_the_output_folder_is_refused(
    sign: Path, capsys: pytest.CaptureFixture[str], name: str, kind: str, linked: bool
) -> None:
    if os.name == "nt" and (linked or kind == "recipe"):
        pytest.skip("links need rights there")
    folder, out = sign.parent, sign.parent / "out"
    out.mkdir()
    if kind == "file":
        (folder / name).write_bytes(b"1")
        raw = 'use = "raw"\nmemory = "picture"\nfile = "words.bin"'
        sign.write_text(sign.read_text().replace('use = "bank_pictures"', raw))
    inside = out / Path(name).name
    if kind == "recipe":  # what it names is beside the file, not beside the link
        inside.symlink_to(sign)
        sign = inside
    else:
        (folder / name).rename(inside)
    if linked and kind != "recipe":
        (folder / name).symlink_to(inside)
    elif kind != "recipe":
        written = "pictures/*.pgm" if kind == "picture" else name
        sign.write_text(sign.read_text().replace(written, f"out/{inside.name}"))
    before = _files(folder)
    for command in ("check", "build"):
        assert main([command, str(sign)]) == 1
        (said,) = capsys.readouterr().err.splitlines()
        assert f": {kind} '" in said
        assert said.endswith("lies in the output folder, which a build replaces; name another folder")
    assert _files(folder) == before


@pytest.mark.parametrize("existing", [False, True])
@pytest.mark.parametrize("fault", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_a_start_that_fails_leaves_nothing_behind(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    existing: bool,
    fault: BaseException,
) -> None:
    folder = tmp_path / "deep" / "new"
    if existing:
        folder.mkdir(parents=True)
    synced = os.fsync
    for at in range(1, 100):
        calls = 0

        def fail(descriptor: int, at: int = at) -> None:
            nonlocal calls
            calls += 1
            if calls == at:
                raise fault
            synced(descriptor)

        monkeypatch.setattr(os, "fsync", fail)
        status = main(["start", str(folder)])
        if calls < at:
            break
        assert status == (130 if isinstance(fault, KeyboardInterrupt) else 2)
        assert sorted(tmp_path.rglob("*")) == ([folder.parent, folder] if existing else [])
        said = capsys.readouterr().err
        assert said == "stopped\n" if status == 130 else "cannot be written (No space left on device)" in said
    assert status == 0
    assert at > len(starter.SCENES)
    assert (folder / "recipe.toml").is_file()
