"""A plugin package as others write one: built, installed beside the program, type-checked, tested and listed."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PLUGIN = Path(__file__).parent / "example_plugin"


@pytest.fixture(scope="module")
def python(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The Python of an environment with the program and the plugin, built from here; libraries are those of the tests.

    Nothing is downloaded.
    """
    for needed in ("hatchling", "mypy", "pip"):
        if os.environ.get("CI") != "true":
            pytest.importorskip(needed)
    folder = tmp_path_factory.mktemp("plugin") / "env"
    venv.create(folder, with_pip=False, symlinks=os.name != "nt")
    paths = sysconfig.get_paths("venv", vars={"base": str(folder), "platbase": str(folder)})
    site = Path(paths["purelib"])
    options = ["--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--target", str(site)]
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "install", *options]
    subprocess.run([*pip, str(ROOT), str(PLUGIN)], check=True)
    (site / "libraries.pth").write_text(sysconfig.get_paths()["purelib"])
    return Path(paths["scripts"]) / Path(sys.executable).name


def run(python: Path, *arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a module apart from this tree."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")} | more
    command = [str(python), "-m", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=python.parent, env=environment)


def test_its_stages_are_listed_and_described(python: Path) -> None:
    listed = run(python, "ladderlight", "stages", "--json")
    assert listed.stderr == ""
    found = {stage["name"]: stage for stage in json.loads(listed.stdout)["stages"] if stage["plugin"] == "harbour"}
    assert {name: (stage["kind"], stage["help"]) for name, stage in found.items()} == {
        "dusk": ("picture", "Let dusk fall on all pictures alike."),
        "lamps": ("reduction", "Reduce to the darkest and the lightest of the board's colours."),
    }
    assert "number, 0 to 1" in run(python, "ladderlight", "stages", "dusk").stdout


def test_its_own_tests_pass(python: Path) -> None:
    done = run(python, "pytest", "-q", "-p", "no:cacheprovider", "--rootdir", str(PLUGIN), str(PLUGIN / "tests"))
    assert done.returncode == 0, done.stdout
    assert "3 passed" in done.stdout


def test_it_is_typed_strictly_against_the_installed_contract(python: Path, tmp_path: Path) -> None:
    """Beside a module with one mistake, which is the only one found."""
    (tmp_path / "wrong.py").write_text(
        "from ladderlight import Picture\n\ndef name(picture: Picture) -> int:\n    return picture.origin.name\n"
    )
    how = ["--strict", "--cache-dir", str(tmp_path / "cache"), "--python-executable", str(python)]
    mypy = run(Path(sys.executable), "mypy", *how, "-p", "harbour_lights", "-m", "wrong", MYPYPATH=str(tmp_path))
    (found, summary) = mypy.stdout.splitlines()
    assert re.search(r'wrong\.py:4: error: .*got "str", expected "int"', found)
    assert summary == "Found 1 error in 1 file (checked 4 source files)"
