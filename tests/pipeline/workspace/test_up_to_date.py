"""A build of which nothing has changed says so, and does nothing; any change makes it build."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ladderlight import commands
from ladderlight.cache.folder import VARIABLE
from ladderlight.recipe import load
from ladderlight.workspace.up_to_date import Noted, up_to_date

PLUGIN = """
import sys
from pathlib import Path
sys.path.insert(0, str(Path(__file__).parent))
from gain import GAIN
sys.path.pop(0)
from ladderlight import Picture, stage

@stage(help="Does nothing.")
def idle(picture: Picture) -> Picture:
    return picture
"""


@pytest.fixture
def lobby(project: Callable[..., Path]) -> Path:
    """A recipe with a plugin, at rest."""
    path = project("lobby", build=False)
    (path.parent / "idle.py").write_text(PLUGIN)
    (path.parent / "gain.py").write_text("GAIN = 1\n")
    text = path.read_text(encoding="utf-8").replace("format = 1", 'format = 1\nplugins = ["idle.py"]')
    text = text.replace('"grey.pgm"', '"*.pgm"').replace('"y5-y8"', '"y5-y8", "bank0-bank2"')
    path.write_text(text.replace('use = "resize"', 'use = "idle"\n[[stage]]\nuse = "resize"', 1))
    time.sleep(0.1)
    assert commands.main(["build", "--quiet", str(path)]) == 0
    return path


def built(path: Path, capsys: pytest.CaptureFixture[str], *options: str) -> bool:
    """Build, and return whether anything was done."""
    capsys.readouterr()
    assert commands.main(["build", *options, str(path)]) == 0
    return not capsys.readouterr().out.endswith("lobby-out: up to date\n")


def test_one_line_says_that_nothing_has_changed(lobby: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = lobby.parent / "lobby-out"
    before = {path: path.stat().st_mtime_ns for path in out.rglob("*") if "lock" not in path.name}
    capsys.readouterr()
    assert commands.main(["build", str(lobby)]) == 0
    assert capsys.readouterr().out == f"{out}: up to date\n"
    assert {path: path.stat().st_mtime_ns for path in before} == before


def test_quiet_says_nothing(lobby: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert commands.main(["build", "--quiet", str(lobby)]) == 0
    assert capsys.readouterr() == ("", "")


def test_the_document_is_that_of_the_build(lobby: Path, capsys: pytest.CaptureFixture[str]) -> None:
    documents = []
    for options in (["--force"], []):
        time.sleep(0.1)
        capsys.readouterr()
        assert commands.main(["build", "--json", *options, str(lobby)]) == 0
        documents.append(json.loads(capsys.readouterr().out))
    assert [document.pop("up_to_date") for document in documents] == [False, True]
    assert documents[0] == documents[1]


@pytest.mark.parametrize("option", ["--force", "--no-cache", "--clear-cache"])
def test_options_that_build_anyway(lobby: Path, capsys: pytest.CaptureFixture[str], option: str) -> None:
    assert built(lobby, capsys, option)
    # Without the cache nobody knows afterwards which build it was.
    assert built(lobby, capsys) is (option == "--no-cache")
    assert not built(lobby, capsys)


def test_cautions_are_still_errors_if_they_are_to_be(lobby: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = up_to_date(lobby)
    assert found is not None
    assert found.cautioned
    assert commands.main(["build", "--strict", str(lobby)]) == 1


def replaced(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def renamed(folder: Path) -> None:
    (folder / "light.pgm").rename(folder / "lighter.pgm")


def doubled(folder: Path) -> None:
    (folder / "more.pgm").write_bytes((folder / "grey.pgm").read_bytes())


def darker(folder: Path) -> None:
    """Another content with the old size and the old time."""
    path = folder / "grey.pgm"
    before = path.stat()
    path.write_bytes(path.read_bytes()[:-1] + b"\0")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def edited_unseen(folder: Path) -> None:
    """A device file with another content, the old size and the old time."""
    path = folder / "lobby-out/devices/picture.bin"
    before = path.stat()
    path.write_bytes(bytes([path.read_bytes()[0] ^ 1]) + path.read_bytes()[1:])
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def shadowed(folder: Path) -> None:
    """A package of a module's name, which Python imports in place of it."""
    (folder / "gain").mkdir()
    (folder / "gain" / "__init__.py").write_text("GAIN = 2\n")


CHANGES: dict[str, Callable[[Path], object]] = {
    "recipe": lambda folder: replaced(folder / "lobby.toml", '"470"', '"430"'),
    "picture": darker,
    "new picture": doubled,
    "no picture": lambda folder: (folder / "light.pgm").unlink(),
    "renamed picture": renamed,
    "module shadowed": shadowed,
    "plugin": lambda folder: replaced(folder / "idle.py", "nothing", "nothing at all"),
    "chips recorded": lambda folder: commands.main(["burned", str(folder / "lobby.toml")]),
    "device file edited": lambda folder: (folder / "lobby-out/devices/picture.bin").write_bytes(bytes(2048)),
    "device file edited, time set back": edited_unseen,
    "device file deleted": lambda folder: (folder / "lobby-out/devices/picture.bin").unlink(),
    "manifest edited": lambda folder: replaced(folder / "lobby-out/manifest.json", '"bytes": 2048', '"bytes": 2047'),
    "proof deleted": lambda folder: (folder / "lobby-out/proof/index.html").unlink(),
    "other output": lambda folder: replaced(folder / "lobby.toml", '"lobby-out"', '"other/lobby-out"'),
    "cache gone": lambda folder: shutil.rmtree(os.environ[VARIABLE]),
    "cache damaged": lambda folder: [
        p.write_bytes(b"{}") for p in Path(os.environ[VARIABLE]).rglob("*") if p.is_file()
    ],
}


def linked(folder: Path) -> None:
    """Another folder in place of the output, which is what the recipe's name of it leads to."""
    (folder / "lobby-out").rename(folder / "elsewhere")
    (folder / "lobby-out").symlink_to(folder / "elsewhere")


def swallowed(folder: Path) -> None:
    """The same picture by the same name, which lies in the output now."""
    (folder / "light.pgm").rename(folder / "lobby-out" / "light.pgm")
    (folder / "light.pgm").symlink_to(folder / "lobby-out" / "light.pgm")


MOVES: dict[str, Callable[[Path], object]] = {"output linked": linked, "pictures moved into the output": swallowed}
KNOWN = {change for change in CHANGES if change.startswith(("device", "manifest", "proof"))} | {"picture"}
"""Changes that what is read from the recipe and the files that it names does not depend on."""


@pytest.mark.parametrize("change", CHANGES)
def test_every_change_builds(lobby: Path, capsys: pytest.CaptureFixture[str], change: str) -> None:
    assert not built(lobby, capsys)
    CHANGES[change](lobby.parent)
    time.sleep(0.1)
    assert built(lobby, capsys)
    assert not built(lobby, capsys)


@pytest.mark.parametrize("change", [*CHANGES, *MOVES])
def test_a_recipe_is_known_where_what_it_is_read_from_is_as_it_was(lobby: Path, change: str) -> None:
    (CHANGES | MOVES)[change](lobby.parent)
    noted = Noted.of(lobby)
    known = noted and noted.recipe()
    assert (known is not None) == (change in KNOWN)
    assert known is None or known == load(lobby)


def test_a_recipe_that_leaves_pictures_out_is_read_again(lobby: Path) -> None:
    """Whether a pattern leaves out any is seen only then."""
    replaced(lobby, '"*.pgm"', '"*.pgm", "!grey.pgm"')
    time.sleep(0.1)
    assert commands.main(["build", "--quiet", str(lobby)]) == 0
    noted = Noted.of(lobby)
    assert noted is not None
    assert noted.recipe() is None


def test_a_plugin_that_loads_whatever_is_there_is_never_up_to_date(
    lobby: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Which modules it would load is not known before it runs."""
    (lobby.parent / "idle.py").write_text(PLUGIN.replace("import sys", "import importlib, sys"))
    time.sleep(0.1)
    assert built(lobby, capsys)
    assert built(lobby, capsys)


def test_a_plugin_that_reads_files_is_run_every_time(lobby: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Which files it reads is not known."""
    gain = 'picture.with_pixels(picture.pixels * float((Path(__file__).parent / "gain.txt").read_text()))'
    (lobby.parent / "idle.py").write_text(PLUGIN.replace("return picture", f"return {gain}"))
    (lobby.parent / "gain.txt").write_text("0.2")
    devices = lobby.parent / "lobby-out" / "devices" / "picture.bin"
    time.sleep(0.1)
    assert built(lobby, capsys)
    dark = devices.read_bytes()
    (lobby.parent / "gain.txt").write_text("1")
    assert built(lobby, capsys)
    assert devices.read_bytes() != dark


def test_what_a_change_and_its_undoing_leave_is_built_once_more_or_the_same(
    lobby: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = lobby.parent / "lobby-out"
    first = (out / "manifest.json").read_bytes()
    replaced(lobby, '"470"', '"430"')
    assert built(lobby, capsys)
    replaced(lobby, '"430"', '"470"')
    time.sleep(0.1)
    assert built(lobby, capsys)
    assert (out / "manifest.json").read_bytes() == first


@pytest.mark.parametrize(("of", "other"), [("version", "0.1.1"), ("file", "/elsewhere/ladderlight/__init__.py")])
def test_another_version_or_copy_of_the_program_builds(
    lobby: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, of: str, other: str
) -> None:
    """Two copies of one version may differ: the marks of a build's own files show nothing of those of the other."""
    monkeypatch.setattr(f"ladderlight.__{of}__", other)
    assert built(lobby, capsys)


def test_a_library_that_was_installed_since_builds(
    lobby: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """As installers do, a folder beside the others."""
    site = tmp_path / "site-packages"
    (site / "one-1.0.dist-info").mkdir(parents=True)
    monkeypatch.syspath_prepend(str(site))
    assert built(lobby, capsys)
    assert not built(lobby, capsys)
    (site / "two-1.0.dist-info").mkdir()
    assert built(lobby, capsys)


def test_a_recipe_that_changed_while_it_was_read_is_not_up_to_date(
    lobby: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody can tell which of the two was read."""
    from ladderlight.recipe import loading

    def loaded(path: Path, **options: Any) -> object:
        recipes = loading.load_revisions(path, **options)
        replaced(path, "the harbour", "the old harbour")
        return recipes

    replaced(lobby, "format = 1", "# the harbour\nformat = 1")
    time.sleep(0.1)
    with monkeypatch.context() as patched:
        patched.setattr("ladderlight.recipe.load_revisions", loaded, raising=False)
        assert built(lobby, capsys)
    assert built(lobby, capsys)


def test_nothing_that_computes_is_loaded(lobby: Path) -> None:
    code = (
        "import sys; from ladderlight.commands import main; main(sys.argv[1:]);"
        "print({m.partition('.')[0] for m in sys.modules} & {'numpy', 'PIL', 'numba', 'rich', 'scipy', 'tomli'})"
    )
    assert commands.main(["build", "--quiet", str(lobby)]) == 0
    for expected in (False, True):  # the first may see that other folders of libraries are used than here
        done = subprocess.run([sys.executable, "-c", code, "build", str(lobby)], capture_output=True, text=True)
        lines = done.stdout.splitlines()
        assert lines[0].endswith("up to date") or not expected
    assert lines[1:] == ["set()"]


LOCAL = """
from enum import Enum
from ladderlight import Picture, stage

def sides() -> type[Enum]:
    return Enum("Side", {"LEFT": "left", "RIGHT": "right"}, module=None, qualname="sides.<locals>.Side", type=str)

Side = sides()

@stage(help="Does nothing.")
def idle(picture: Picture, *, side: Side = Side.LEFT) -> Picture:
    return picture
"""


def test_a_recipe_that_cannot_be_kept_is_built_and_known_for_up_to_date(
    lobby: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An option of a class that is made in a function has no name by which another process finds it."""
    (lobby.parent / "idle.py").write_text(LOCAL)
    time.sleep(0.1)
    assert built(lobby, capsys)
    assert not built(lobby, capsys)
