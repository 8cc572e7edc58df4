"""The recipe that is meant, and the options that all commands have."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from ladderlight.commands import main
from ladderlight.commands.program import COMMANDS
from ladderlight.commands.terminal.arguments import recipe_and_dumps, recipe_and_others, recipe_path
from ladderlight.errors import UsageError

LANTERN = Path(__file__).parents[3] / "recipes" / "lantern"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of a small recipe, as the current folder."""
    folder = tmp_path / "lantern"
    shutil.copytree(LANTERN, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    monkeypatch.chdir(folder)
    return folder


def test_the_recipe_of_the_current_folder_is_the_default(here: Path) -> None:
    assert recipe_path(None) == Path("recipe.toml")
    assert recipe_path(here) == here / "recipe.toml"
    assert recipe_path(Path("other.toml")) == Path("other.toml")
    assert recipe_path(Path("pictures")) == Path("pictures")


def test_the_first_argument_is_a_recipe_or_the_first_of_the_others(here: Path) -> None:
    assert recipe_and_others(None, None) == (Path("recipe.toml"), [])
    assert recipe_and_others(Path("a.TOML"), ["b"]) == (Path("a.TOML"), ["b"])
    assert recipe_and_others(here, ["b"]) == (here / "recipe.toml", ["b"])
    assert recipe_and_others(Path("picture"), ["b"]) == (Path("recipe.toml"), ["picture", "b"])
    assert recipe_and_dumps(Path("a.bin"), None) == (Path("recipe.toml"), [Path("a.bin")])
    with pytest.raises(UsageError, match=r"^no dump is given; name the files"):
        recipe_and_dumps(Path("recipe.toml"), [])


@pytest.mark.parametrize("command", ["check", "build", "watch", "burned", "compare", "decode"])
def test_without_a_recipe_one_line_names_both_ways(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([command]) == 2
    said = "there is no recipe.toml in this folder; name a recipe, or change to the folder of one\n"
    assert capsys.readouterr() == ("", said)


def test_every_command_takes_the_folder_or_the_current_one(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    dump = "out/devices/picture.bin"
    for first in ([], ["."], ["recipe.toml"], [str(here)]):
        for command in (["check"], ["build"], ["burned"], ["compare"], ["decode"]):
            dumps = [dump] if command[0] in ("compare", "decode") else []
            assert main([*command, *first, *dumps]) == 0, (command, first, capsys.readouterr())
    assert main(["burned", "picture"]) == 0
    assert main(["burned", "pictur"]) == 2
    assert "no device 'pictur'; did you mean 'picture'?" in capsys.readouterr().err


def test_every_command_can_be_quiet(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = {
        "start": ["new"],
        "compare": ["out/devices/picture.bin"],
        "decode": ["out/devices/picture.bin"],
        "ladder": ["--bits", "2"],
        "stages": ["crop"],
    }
    names = [name for name in COMMANDS if name not in ("watch", "schema")]
    for name in names:
        assert main([name, *arguments.get(name, []), "--quiet"]) == 0, capsys.readouterr()
        assert capsys.readouterr() == ("", ""), name


def test_quiet_still_prints_errors(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "nowhere.toml", "-q"]) == 1
    assert capsys.readouterr().err == "nowhere.toml: there is no such file; check the path\n"


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_names_what_options_take_in_our_words(capsys: pytest.CaptureFixture[str], command: str) -> None:
    assert main([command, "--help"]) == 0
    out = capsys.readouterr().out
    assert "--quiet" in out
    assert not re.search(r"<(int|str|bool|path|float)", out.partition("Options:")[2])


def test_the_list_of_commands_is_not_cut_off(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    out = capsys.readouterr().out
    assert all(f"\n  {name} " in out for name in COMMANDS)
    assert "..." not in out.partition("Commands:")[2]
