"""Paths that the system refuses are one line each, and names that act are shown and nothing more."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from functools import cache
from pathlib import Path

import pytest

from ladderlight.commands import main
from ladderlight.system.printable import printable

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"
LONG = "n" * 300
NASTY = "a\x1b[31mred\nDone: burn nothing\u202e.png"

posix = pytest.mark.skipif(os.name == "nt", reason="needs POSIX names and permissions")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of a small recipe, as the current folder."""
    folder = tmp_path / "lantern"
    shutil.copytree(LANTERN, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    monkeypatch.chdir(folder)
    return folder


def change(old: str, new: str) -> None:
    text = Path("recipe.toml").read_text(encoding="utf-8")
    assert old in text
    Path("recipe.toml").write_text(text.replace(old, new, 1), encoding="utf-8")


def lines(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, list[str]]:
    status = main(list(arguments))
    return status, capsys.readouterr().err.splitlines()


@posix
@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("pictures/*.png", f"pictures/{LONG}.png", "30:10"),
        ("pictures/*.png", f"{LONG}/*.png", "30:10"),
        ("pictures/*.png", "loop/*.png", "30:10"),
        ("pictures/*.png", "loop", "30:10"),
        ("lantern.py", f"{LONG}.py", "3:12"),
        ("lantern.py", "loop", "3:12"),
        ('output = "out"', f'output = "{LONG}"', "7:10"),
        ('output = "out"', 'output = "loop/out"', "7:10"),
    ],
)
def test_a_name_too_long_or_a_loop_of_links_is_a_line_with_its_place(
    here: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, where: str
) -> None:
    (here / "loop").symlink_to("loop")
    change(old, new)
    for command in ("check", "build"):
        status, said = lines(capsys, command)
        assert status == 1
        assert len(said) == 1 or old == "lantern.py"  # without a plugin, its stages are unknown
        assert said[0].startswith(f"recipe.toml:{where}: ")
        assert ("File name too long" if LONG in new else "Too many levels of symbolic links") in said[0]


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("pictures/*.png", r"pictures/\u0000.png", "30:10"),
        ("lantern.py", r"lantern\u0000.py", "3:12"),
        ('output = "out"', r'output = "a\u0000b"', "7:10"),
        ("reach = 0.6", r'"re\u0000ach" = 0.6', "37:1"),
    ],
)
def test_a_nul_in_the_recipe_is_a_line_with_its_place(
    here: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, where: str
) -> None:
    change(old, new)
    expected = (1, [f"recipe.toml:{where}: the text holds a NUL character; delete it"])
    assert lines(capsys, "check") == expected
    assert lines(capsys, "build") == expected


def test_a_nul_in_a_board_file_is_a_line_too(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "board.toml").write_text('mode = "a\\u0000"\n')
    text = (here / "recipe.toml").read_text()
    start, end = text.index("[board]"), text.index("[pictures]")
    (here / "recipe.toml").write_text(
        text[:start].replace("format = 1", 'format = 1\nboard = "board.toml"') + text[end:]
    )
    status, said = lines(capsys, "check")
    assert (status, said[-1]) == (1, "board.toml:1:8: the text holds a NUL character; delete it")


@posix
@pytest.mark.parametrize("name", [f"{LONG}.toml", "loop", "loop/recipe.toml", "recipe.toml/recipe.toml"])
@pytest.mark.parametrize("command", ["check", "build", "watch", "burned"])
def test_a_recipe_that_cannot_be_opened_is_one_line(
    here: Path, capsys: pytest.CaptureFixture[str], command: str, name: str
) -> None:
    (here / "loop").symlink_to("loop")
    if command == "burned" and not name.endswith(".toml"):
        name += ".toml"
    status, said = lines(capsys, command, name)
    assert status == 1
    assert len(said) == 1
    assert said[0].startswith(name)


@posix
@pytest.mark.parametrize(
    "arguments",
    [
        ["start", f"{LONG}/project"],
        ["start", "loop/project"],
        ["check", "--page", f"{LONG}.html"],
        ["check", "--page", "loop/page.html"],
        ["compare", f"{LONG}.bin"],
        ["compare", "loop"],
        ["decode", "loop"],
        ["decode", "out/devices/picture.bin", "--into", f"{LONG}"],
        ["compare", "out/devices/picture.bin", "--picture", "loop/p.png"],
    ],
)
def test_what_cannot_be_read_or_written_is_one_line(
    here: Path, capsys: pytest.CaptureFixture[str], arguments: list[str]
) -> None:
    (here / "loop").symlink_to("loop")
    if arguments[0] in ("compare", "decode"):
        assert main(["build", "-q"]) == 0
        capsys.readouterr()
    status, said = lines(capsys, *arguments)
    assert status in (1, 2)
    assert len(said) == 1
    assert re.search(r"File name too long|Too many levels of symbolic links|File exists", said[0])


@posix
@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs root, to become somebody else")
@pytest.mark.parametrize(
    ("locked", "arguments", "line"),
    [
        ("recipe.toml", ["check"], "recipe.toml: cannot be read (Permission denied)"),
        ("pictures", ["build"], "recipe.toml:30:10: 'pictures/*.png' matches no file: 'pictures' cannot be read"),
        (".", ["build"], "recipe.toml: cannot be read (Permission denied)"),
        ("pictures/chart.png", ["build"], "pictures/chart.png: cannot be read; check its permissions"),
        (
            "lantern.py",
            ["check"],
            "recipe.toml:3:12: plugin 'lantern.py' cannot be loaded (Permission denied); name a Python file",
        ),
        ("no", ["start", "no/project"], "no/project: cannot be written (Permission denied)"),
        ("no", ["check", "--page", "no/page.html"], "no/page.html: cannot be written (Permission denied)"),
        ("no", ["compare", "no/dump.bin"], "no/dump.bin: cannot be read (Permission denied)"),
    ],
)
def test_a_lack_of_permission_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], locked: str, arguments: list[str], line: str
) -> None:
    """The libraries are loaded before the process becomes nobody, who may not read where Python is installed."""
    load_libraries()
    with tempfile.TemporaryDirectory() as place:  # the folders of pytest are for their owner alone
        here = Path(place, "here")
        shutil.copytree(LANTERN, here, ignore=shutil.ignore_patterns("out", "__pycache__"))
        if "compare" in arguments:
            assert main(["build", str(here), "-q"]) == 0
        (here / "no").mkdir()
        for path in (Path(place), here, *here.rglob("*")):
            path.chmod(0o755)
        (here / locked).chmod(0)
        monkeypatch.chdir(here)
        capsys.readouterr()
        status = as_nobody(arguments)
        monkeypatch.chdir("/")
    said = capsys.readouterr().err.splitlines()
    assert status in (1, 2)
    assert len(said) == 1 or locked == "lantern.py"  # without a plugin, its stages are unknown
    assert line in said[0]


@cache
def load_libraries() -> None:
    """Run the commands once."""
    with tempfile.TemporaryDirectory() as place:
        good = str(shutil.copytree(LANTERN, Path(place, "good"), ignore=shutil.ignore_patterns("out", "__pycache__")))
        for command, *more in (["check", "--page", f"{good}/page.html"], ["build"], ["compare", f"{good}/nowhere"]):
            main([command, good, "-q", *more])
        main(["start", good, "-q"])


def as_nobody(arguments: list[str]) -> int:
    os.setegid(65534)
    os.seteuid(65534)
    try:
        return main(arguments)
    finally:
        os.seteuid(0)
        os.setegid(0)


@posix
def test_names_that_are_not_utf_8_work(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    odd = os.fsdecode(b"l\xe9gende.png")
    (here / "pictures" / "lighthouse.png").rename(here / "pictures" / odd)
    folder = here.rename(here.parent / os.fsdecode(b"c\xf4te"))
    (folder / "recipe.toml").rename(folder / os.fsdecode(b"\xe9.toml"))
    status = main(["build", str(folder / os.fsdecode(b"\xe9.toml")), "-v"])
    out, err = capsys.readouterr()
    assert status == 0, err
    assert r"pictures/l\xe9gende.png: bank 1" in out
    assert json.loads((folder / "out" / "manifest.json").read_text())["pictures"][1]["source"] == f"pictures/{odd}"
    assert r"l\xe9gende" in (folder / "out" / "burn-sheet.txt").read_text(encoding="utf-8")
    assert r"l\xe9gende" in (folder / "out" / "proof" / "index.html").read_text(encoding="utf-8")
    assert main(["check", str(folder / os.fsdecode(b"\xe9.toml")), "--json", "--page", str(folder / "b.html")]) == 0
    json.loads(capsys.readouterr().out)


@posix
def test_names_that_act_reach_neither_terminal_nor_sheet(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "pictures" / "lighthouse.png").rename(here / "pictures" / NASTY)
    (here / "lantern.py").rename(here / "lan\x1b]0;tern.py")
    change("lantern.py", r"lan\u001b]0;tern.py")
    change("Merrowhithe lantern room", r"Merrow\u001b[2J \n hithe \u202e room [bold]:key:")
    acting = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]")
    for command in (["build", "-v"], ["check", "-v", "--page", "page.html"], ["burned"], ["build"], ["stages"]):
        assert main(command) == 0, command
        for text in capsys.readouterr():
            assert not acting.search(text), command
            assert "\nDone: burn nothing" not in text
    sheets = ["out/burn-sheet.txt", "out/burn-sheet.html", "out/proof/index.html", "page.html"]
    for name in sheets:
        text = Path(name).read_text(encoding="utf-8")
        assert not acting.search(text), name
        assert r"Merrow\x1b[2J \n hithe \u202e room [bold]:key:" in text
    assert printable(NASTY.removesuffix(".png")) in Path("out/burn-sheet.txt").read_text(encoding="utf-8").replace(
        "\n", ""
    )
    assert json.loads(Path("out/manifest.json").read_bytes())["pictures"][0]["source"] == f"pictures/{NASTY}"

    (here / "pictures" / NASTY).write_bytes(b"no picture")
    (here / "lan\x1b]0;tern.py").write_text("raise ValueError('\\x1b[31m\\nboo\\u202e')\n")
    for command in ("check", "build"):
        status, said = lines(capsys, command)
        assert status == 1
        assert not acting.search("".join(said))
        assert r"\x1b[31m\nboo\u202e" in said[0]


def test_a_pattern_that_goes_through_the_whole_machine_is_refused(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ladderlight.recipe.files.MOST_FOLDERS", 50)
    for number in range(60):
        (here / f"deep{number}" / "deeper").mkdir(parents=True)
    recipe = (here / "recipe.toml").read_text()
    for pattern, refused in (("**/*.png", True), ("*/*.png", True), ("pictures/**/*.png", False)):
        (here / "recipe.toml").write_text(recipe.replace("pictures/*.png", pattern))
        status, said = lines(capsys, "check", "-q")
        what = f"{pattern!r} goes through more than 50 folders; name the folder that the pictures are in"
        assert (status, said) == ((1, [f"recipe.toml:30:10: {what}"]) if refused else (0, []))


@posix
@pytest.mark.parametrize("command", ["check", "build", "watch", "burned"])
def test_a_current_folder_that_was_deleted_is_one_line(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    (here / "gone").mkdir()
    monkeypatch.chdir("gone")
    (here / "gone").rmdir()
    assert lines(capsys, command, "../recipe.toml") == (
        1,
        ["the current folder has been deleted; change to another one"],
    )
