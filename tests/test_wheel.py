"""The wheel: built, installed, used and taken away again."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import sysconfig
import zipfile
from email import message_from_bytes
from email.message import Message
from importlib.util import find_spec
from pathlib import Path

import pytest

import ladderlight
from ladderlight.commands import main
from ladderlight.commands.about import GUIDES

ROOT = Path(__file__).parents[1]
STARTER_NAMES = (
    "recipe.toml",
    "recipe.schema.json",
    "pictures/lighthouse.png",
    "pictures/ferry.png",
    "pictures/chart.png",
)


def run(*command: str | Path, **environment: str) -> str:
    """Run a program without the source tree on its path; return what it prints."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    done = subprocess.run(
        command, env=kept | environment, cwd=ROOT.anchor, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel of this tree."""
    for needed in ("hatchling", "hatch_fancy_pypi_readme"):
        if find_spec(needed) is None:
            if os.environ.get("CI") == "true":
                pytest.fail(f"{needed} is missing; CI must install it")
            pytest.skip(f"{needed} is not installed")
    folder = tmp_path_factory.mktemp("dist")
    program = "import sys; from hatchling.cli import hatchling; sys.exit(hatchling())"
    build = [sys.executable, "-c", program, "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, capture_output=True, timeout=300, check=True)
    (path,) = folder.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def metadata(wheel: Path) -> Message:
    """What an index page is told of the wheel."""
    with zipfile.ZipFile(wheel) as archive:
        (name,) = (name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
        return message_from_bytes(archive.read(name))


def test_the_wheel_has_one_version_a_licence_and_addresses(wheel: Path, metadata: Message) -> None:
    assert metadata["Version"] == ladderlight.__version__
    assert wheel.name == f"ladderlight-{ladderlight.__version__}-py3-none-any.whl"
    assert metadata["License-Expression"] == "MIT"
    assert metadata["Requires-Python"] == ">=3.11"
    assert {"Typing :: Typed", "Programming Language :: Python :: 3.11"} <= set(metadata.get_all("Classifier", []))
    addresses = dict(entry.split(", ") for entry in metadata.get_all("Project-URL", []))
    assert list(addresses) == ["Homepage", "Documentation", "Changelog", "Source"]
    assert all(address.startswith("https://example.org/ladderlight") for address in addresses.values())


def test_the_links_of_the_index_page_are_absolute_and_lead_to_files(metadata: Message) -> None:
    page = metadata.get_payload()
    assert isinstance(page, str)
    links = re.findall(r"\]\(([^)]+)\)", page)
    relative = re.findall(r"\]\(([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(relative) >= 3
    assert links == [f"https://example.org/ladderlight/{path}" for path in relative]
    assert all((ROOT / path).is_file() for path in relative)


def test_the_wheel_holds_the_guides_their_pictures_and_the_marks_of_types(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        assert {"ladderlight/py.typed", "ladderlight_stages/py.typed"} <= names
        for path in GUIDES.values():
            assert archive.read(f"ladderlight/guides/{path}") == (ROOT / path).read_bytes()
    pictures = {f"ladderlight/guides/plugins/reference/{path.name}" for path in (ROOT / "plugins/reference").iterdir()}
    assert len(pictures) > 20
    pictures |= {f"ladderlight/guides/recipes/pictures/{name}" for name in ("opening.png", "LICENCES.md")}
    assert pictures <= names


def test_an_installed_wheel_builds_shows_its_guides_and_leaves_nothing(wheel: Path, tmp_path: Path) -> None:
    run(sys.executable, "-m", "venv", "--without-pip", tmp_path / "venv")
    programs = tmp_path / "venv" / ("Scripts" if os.name == "nt" else "bin")
    python = programs / "python"
    packages = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip())
    libraries = sysconfig.get_path("purelib")
    extra = [path for path in sys.path if path.endswith("site-packages") and path != libraries]
    (packages / "libraries.pth").write_text("\n".join([libraries, *extra]), encoding="utf-8")
    before = {path.relative_to(packages) for path in packages.rglob("*")}
    kept = {path.name for path in programs.iterdir()}

    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", python]
    run(*pip, "install", "--quiet", "--no-index", "--no-deps", wheel)
    command = programs / "ladderlight"
    listed = dict(line.split(maxsplit=1) for line in run(command, "guide").splitlines())
    assert {name: Path(path) for name, path in listed.items()} == {
        name: packages / "ladderlight" / "guides" / path for name, path in GUIDES.items()
    }
    assert Path(listed["stages"]).read_bytes() == (ROOT / "plugins/README.md").read_bytes()
    run(command, "start", tmp_path / "board")
    assert sorted(path.relative_to(tmp_path / "board").as_posix() for path in (tmp_path / "board").rglob("*.*")) == (
        sorted(STARTER_NAMES)
    )
    run(command, "build", tmp_path / "board")
    assert (tmp_path / "board" / "out" / "devices" / "picture.bin").stat().st_size == 131072

    run(*pip, "uninstall", "--quiet", "--yes", "ladderlight")
    assert {path.relative_to(packages) for path in packages.rglob("*")} == before
    assert {path.name for path in programs.iterdir()} == kept


def test_the_guides_are_found_in_the_tree_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide"]) == 0
    listed = dict(line.split(maxsplit=1) for line in capsys.readouterr().out.splitlines())
    assert {name: Path(path) for name, path in listed.items()} == {name: ROOT / path for name, path in GUIDES.items()}
    assert main(["guide", "stages"]) == 0
    assert Path(capsys.readouterr().out.strip()) == ROOT / "plugins" / "README.md"
    assert main(["guide", "stagse"]) == 2
    assert capsys.readouterr().err == "there is no guide 'stagse'; did you mean 'stages'?\n"


@pytest.mark.parametrize(("opens", "message"), [(True, ""), (False, "no browser was found; open the file above\n")])
def test_a_guide_is_opened(
    *, opens: bool, message: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", lambda address: opened.append(address) or opens)
    assert main(["guide", "--open"]) == 0
    captured = capsys.readouterr()
    page = ROOT / "recipes" / "README.md"
    assert (opened, captured.out, captured.err) == ([page.as_uri()], f"{page}\n", message)


def test_a_guide_that_is_missing_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("ladderlight.commands.about.__file__", str(tmp_path / "a" / "b" / "about.py"))
    assert main(["guide", "recipe"]) == 2
    missing = tmp_path / "a" / "guides" / "recipes" / "README.md"
    assert capsys.readouterr().err == f"{missing}: there is no such file; install Ladderlight again\n"
