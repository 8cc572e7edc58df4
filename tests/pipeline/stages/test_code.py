"""The code of a stage: what must be the same for its earlier results to hold."""

from __future__ import annotations

from pathlib import Path

import pytest

import ladderlight
from ladderlight.stages import code
from ladderlight.stages.code import code_files, code_of, modules_beside, reads_files
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.registry import installed_stages

PLUGIN = """
from ladderlight import Picture, stage
{more}

@stage(help="Does nothing.")
def idle(picture: Picture) -> Picture:
    return picture
"""


def write(folder: Path, **files: str) -> Path:
    for name, text in files.items():
        path = folder / f"{name.replace('__', '/', 1) if '__' in name else name}.py"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    return folder / "idle.py"


def idle(path: Path, more: str = "") -> StageDeclaration:
    path.write_text(PLUGIN.format(more=more))
    return installed_stages().with_files([path]).get("idle")


def names(folder: Path, text: str) -> set[str]:
    (folder / "idle.py").write_text(text)
    return {path.relative_to(folder).as_posix() for path in modules_beside(folder / "idle.py")} - {"idle.py"}


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("GAIN = 2", False),
        ("GAIN = lambda: float(open(__file__ + '.gain').read())", True),
        ("from configparser import ConfigParser\nGAIN = lambda: ConfigParser().read(__file__ + '.gain')", True),
        ("import linecache\nGAIN = lambda: linecache.getlines(__file__ + '.gain')", True),
        ("from numpy import loadtxt as numbers\nGAIN = lambda: numbers(__file__)", True),
        ("import os\nGAIN = lambda: len(os.listdir('.'))", True),
    ],
)
def test_what_reads_files(tmp_path: Path, more: str, expected: bool) -> None:
    assert reads_files(idle(tmp_path / "idle.py", more)) is expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("import curve", {"curve.py", "table.py"}),
        ("def f():\n    from curve import GAIN", {"curve.py", "table.py"}),
        ("import lamps", {"lamps/__init__.py", "lamps/base.py"}),
        ("import lamps.red as red", {"lamps/__init__.py", "lamps/base.py", "lamps/red.py", "table.py"}),
        ("from lamps import red", {"lamps/__init__.py", "lamps/base.py", "lamps/red.py", "table.py"}),
        ("import numpy, os", set()),
        (
            "import importlib",
            {"curve.py", "table.py", "other.py", "lamps/__init__.py", "lamps/base.py", "lamps/red.py"},
        ),
        (
            "__import__('cur' + 've')",
            {"curve.py", "table.py", "other.py"} | {f"lamps/{n}.py" for n in ("__init__", "base", "red")},
        ),
        (
            "eval(compile(open('curve.py').read(), 'curve.py', 'exec'))",
            {"curve.py", "table.py", "other.py"} | {f"lamps/{n}.py" for n in ("__init__", "base", "red")},
        ),
    ],
)
def test_modules_of_the_folder_that_are_imported_in_any_way(tmp_path: Path, text: str, expected: set[str]) -> None:
    write(tmp_path, curve="import table\nGAIN = 2", table="T = 1", other="", lamps____init__="from . import base")
    write(tmp_path, lamps__base="", lamps__red="from table import T")
    assert names(tmp_path, text) == expected


def test_a_module_that_is_changed_makes_another_stage_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(tmp_path))
    path = write(tmp_path, merrowhithe_gain="GAIN = 2", bystander="")
    stage = idle(path, "import merrowhithe_gain")
    first = code_of(stage)
    write(tmp_path, bystander="CHANGED = 1")
    assert code_of(stage) == first
    write(tmp_path, merrowhithe_gain="GAIN = 3")
    assert code_of(stage) != first
    write(tmp_path, merrowhithe_gain="GAIN = 2")
    assert code_of(stage) == first


def test_a_plugin_is_the_same_in_another_folder(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    assert code_of(idle(tmp_path / "a" / "idle.py")) == code_of(idle(tmp_path / "b" / "idle.py"))
    assert code_of(idle(tmp_path / "a" / "idle.py")) != code_of(idle(tmp_path / "b" / "idle.py", "MORE = 1"))


def test_libraries_that_a_plugin_imports_count_by_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = idle(tmp_path / "idle.py", "import pluggy")
    first = code_of(stage)
    monkeypatch.setattr(code, "_distributions_there", lambda: [("pluggy", "99")])
    assert code_of(stage) != first
    assert code_of(idle(tmp_path / "idle.py")) != first
    alone = code_of(idle(tmp_path / "idle.py"))
    monkeypatch.setattr(code, "_distributions_there", lambda: [("pluggy", "100")])
    assert code_of(idle(tmp_path / "idle.py")) == alone


def test_modules_from_another_folder_count_by_content(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "shared").mkdir()
    monkeypatch.syspath_prepend(str(tmp_path / "shared"))
    write(tmp_path / "shared", merrowhithe_shared="GAIN = 2")
    stage = idle(tmp_path / "idle.py", "import merrowhithe_shared")
    first = code_of(stage)
    assert str(tmp_path / "shared" / "merrowhithe_shared.py") in code_files([stage])
    write(tmp_path / "shared", merrowhithe_shared="GAIN = 3")
    assert code_of(stage) != first


def test_what_modules_from_another_folder_import_counts_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "shared").mkdir()
    monkeypatch.syspath_prepend(str(tmp_path / "shared"))
    write(tmp_path / "shared", merrowhithe_near="from merrowhithe_far import GAIN", merrowhithe_far="GAIN = 2")
    stage = idle(tmp_path / "idle.py", "import merrowhithe_near")
    first = code_of(stage)
    assert str(tmp_path / "shared" / "merrowhithe_far.py") in code_files([stage])
    write(tmp_path / "shared", merrowhithe_far="GAIN = 3")
    assert code_of(stage) != first


def test_a_library_installed_for_editing_counts_by_content(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As ``pip install --editable`` leaves it: a path to the sources, and a version that stays the same."""
    (tmp_path / "sources").mkdir()
    monkeypatch.syspath_prepend(str(tmp_path / "sources"))
    monkeypatch.setattr(code, "_distributions", lambda: {"merrowhithe_lib": ["merrowhithe-lib"]})
    write(tmp_path / "sources", merrowhithe_lib="GAIN = 2")
    stage = idle(tmp_path / "idle.py", "import merrowhithe_lib")
    first = code_of(stage)
    write(tmp_path / "sources", merrowhithe_lib="GAIN = 3")
    assert code_of(stage) != first


def test_data_in_a_package_is_part_of_its_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "glyphs.txt" in {Path(path).name for path in code_files([installed_stages().get("resize")])}
    monkeypatch.syspath_prepend(str(tmp_path / "shared"))
    write(tmp_path, idle="")
    package = tmp_path / "shared" / "merrowhithe_lamps"
    (package / "__pycache__").mkdir(parents=True)
    (package / "__init__.py").write_text("")
    (package / "gains.txt").write_text("2")
    stage = idle(tmp_path / "idle.py", "import merrowhithe_lamps")
    first = code_of(stage)
    (package / "__pycache__" / "__init__.pyc").write_bytes(b"made by Python")
    assert code_of(stage) == first
    (package / "gains.txt").write_text("3")
    assert code_of(stage) != first


def test_files_that_would_stand_before_a_module_are_looked_for(tmp_path: Path) -> None:
    stage = idle(tmp_path / "idle.py", "def f():\n    import curve")
    assert {tmp_path / "curve.py", tmp_path / "curve" / "__init__.py"} <= set(map(Path, code_files([stage])))


def test_built_in_stages_are_the_source_of_both_packages() -> None:
    """Whatever is installed: a checkout counts by its content, whose version stays the same."""
    stage = installed_stages().get("resize")
    files = {Path(path).name for path in code_files([stage])}
    assert {"resampling.py", "runner.py"} <= files
    assert code_of(stage) == code_of(installed_stages().get("crop"))


def test_another_version_is_another_stage(monkeypatch: pytest.MonkeyPatch) -> None:
    stage = installed_stages().get("resize")
    first = code_of(stage)
    monkeypatch.setattr(ladderlight, "__version__", "0.1.1")
    code._engine.cache_clear()
    try:
        assert code_of(stage) != first
    finally:
        monkeypatch.undo()
        code._engine.cache_clear()
