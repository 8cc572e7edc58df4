"""Compiling loops, and keeping machine code by all that it is made from."""

from __future__ import annotations

import importlib
import os
import pkgutil
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import ladderlight
import ladderlight_stages
from ladderlight_stages import machine_code
from ladderlight_stages.compiled import Loop, compiled

FACTOR = 2
LETTERS = ["a"]
ONE_PIXEL = (
    "import numpy as np\n"
    "from ladderlight_stages.halftone.grid import nearest_members as f\n"
    "a = np.zeros((1, 3), np.float32)\n"
    "f(a, a, a[0], a[0], 1, np.array([0, 1], np.int32), np.zeros(1, np.int32))\n"
    "(machine,) = f.machines.values()\n"
    "print(sum(machine.stats.cache_hits.values()))\n"
)


@compiled
def twice(value: int) -> int:
    return FACTOR * value


@compiled
def quadrupled(value: int) -> int:
    return twice(twice(value))  # type: ignore[no-any-return]


@compiled
def lettered(value: int) -> int:
    return value + len(LETTERS)


@compiled
def total(values: object) -> object:
    return values.sum()  # type: ignore[attr-defined]


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty place for machine code."""
    folder = tmp_path / "kept"
    folder.mkdir()
    monkeypatch.setattr("numba.config.CACHE_DIR", str(folder))
    return folder


@pytest.fixture(autouse=True)
def _forgotten() -> Iterator[None]:
    """Loops of this file are made anew in each test."""
    yield
    for loop in (twice, quadrupled, lettered, total):
        loop.machines.clear()  # type: ignore[attr-defined]
        loop._inner = None  # type: ignore[attr-defined]


def run(script: str, **environment: str) -> str:
    """Run a script in a new process and return what it prints."""
    return subprocess.run(
        [sys.executable, "-c", script], env=os.environ | environment, check=True, capture_output=True, text=True
    ).stdout


def files(folder: Path) -> list[Path]:
    """What the compiler has written."""
    return sorted(path for path in folder.rglob("*") if path.is_file() and path.name != "loop")


INNER = "from ladderlight_stages.compiled import compiled\n\n\n@compiled\ndef passed(value):\n    return {} * value\n"
OUTER = """
from ladderlight_stages.compiled import compiled
from ladderlight_stages.inner import passed


@compiled
def total(values):
    found = 0
    for value in values:
        found += passed(value)
    return found
"""


def wheel(folder: Path, version: str, *, factor: int) -> Path:
    """Make a wheel of the package with two loops in place of its own, all files as old."""
    path = folder / f"ladderlight_stages-{version}-py3-none-any.whl"
    info = f"ladderlight_stages-{version}.dist-info"
    root = Path(ladderlight_stages.__path__[0])
    texts = {name: (root / name).read_text("utf-8") for name in ("__init__.py", "compiled.py", "machine_code.py")}
    texts |= {"inner.py": INNER.format(factor), "outer.py": OUTER}
    texts = {f"ladderlight_stages/{name}": text for name, text in texts.items()}
    texts[f"{info}/METADATA"] = f"Metadata-Version: 2.1\nName: ladderlight_stages\nVersion: {version}\n"
    texts[f"{info}/WHEEL"] = "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    texts[f"{info}/RECORD"] = "".join(f"{each},,\n" for each in [*texts, f"{info}/RECORD"])
    with zipfile.ZipFile(path, "w") as file:
        for each, text in texts.items():
            file.writestr(zipfile.ZipInfo(each, (2026, 1, 1, 0, 0, 0)), text)
    return path


def test_after_an_upgrade_the_new_code_runs(tmp_path: Path) -> None:
    """Two wheels, one after the other in one environment, that differ in a loop which the outer loop calls."""
    pytest.importorskip("pip")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(tmp_path / "venv")], check=True)
    scheme = sysconfig.get_path("purelib", "venv", vars={"base": str(tmp_path / "venv")})
    others = [sysconfig.get_path("purelib"), str(Path(ladderlight.__path__[0]).parent)]
    (Path(scheme) / "others.pth").write_text("\n".join(others))
    python = str(Path(sysconfig.get_path("scripts", "venv", vars={"base": str(tmp_path / "venv")})) / "python")
    script = (
        "import numpy as np\n"
        "from ladderlight_stages.outer import total\n"
        "print(total(np.arange(4)))\n"
        "(machine,) = total.machines.values()\n"
        "print(sum(machine.stats.cache_hits.values()))\n"
    )
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    environment |= {"XDG_CACHE_HOME": str(tmp_path / "cache"), "LOCALAPPDATA": str(tmp_path / "cache")}
    environment |= {"NUMBA_CACHE_DIR": ""}
    found = []
    for version, factor in (("1", 3), ("2", 5), ("3", 5)):
        made = wheel(tmp_path, version, factor=factor)
        install = ["install", "--quiet", "--no-deps", "--no-index", "--disable-pip-version-check", str(made)]
        subprocess.run([sys.executable, "-m", "pip", "--python", python, *install], check=True, env=environment)
        run_ = subprocess.run([python, "-c", script], env=environment, check=True, capture_output=True, text=True)
        found.append(run_.stdout.split())
    assert found == [["18", "0"], ["30", "0"], ["30", "1"]]


def test_machine_code_is_kept_for_the_next_run_wherever_the_package_is(tmp_path: Path) -> None:
    """The second run finds all it needs and adds nothing; so does one of a copy, whose files have other times."""
    kept, copy = tmp_path / "kept", tmp_path / "copy"
    assert run(ONE_PIXEL, NUMBA_CACHE_DIR=str(kept)) == "0\n"
    before = files(kept)
    assert {path.suffix for path in before} == {".nbi", ".nbc"}
    package = Path(ladderlight_stages.__path__[0])
    shutil.copytree(package, copy / package.name, copy_function=shutil.copyfile)
    for places in ([], [str(copy), str(Path(ladderlight.__path__[0]).parent)]):
        more = {"PYTHONPATH": os.pathsep.join(places)} if places else {}
        assert run(ONE_PIXEL, NUMBA_CACHE_DIR=str(kept), **more) == "1\n"
        assert files(kept) == before


def test_a_changed_constant_of_an_inner_loop_counts(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert quadrupled(3) == 12
    monkeypatch.setitem(globals(), "FACTOR", 5)
    for loop in (twice, quadrupled):
        loop.machines.clear()
        loop._inner = None
    assert quadrupled(3) == 75
    assert len(list((kept / "ladderlight").iterdir())) == 2


def test_nothing_is_written_beside_the_modules(tmp_path: Path) -> None:
    package = Path(ladderlight_stages.__path__[0])
    before = set(package.rglob("*.nb?"))
    assert run(ONE_PIXEL, NUMBA_CACHE_DIR="", XDG_CACHE_HOME=str(tmp_path), LOCALAPPDATA=str(tmp_path)) == "0\n"
    assert set(package.rglob("*.nb?")) == before
    if sys.platform != "darwin":
        assert files(tmp_path / "ladderlight")


@pytest.mark.parametrize("obstacle", ["file", "another user's", "no home"])
def test_without_a_place_for_machine_code_loops_are_compiled_all_the_same(
    kept: Path, monkeypatch: pytest.MonkeyPatch, obstacle: str
) -> None:
    if obstacle == "file":
        (kept / "ladderlight").write_text("in the way")
    elif obstacle == "another user's":
        monkeypatch.setattr("os.geteuid", lambda: 12345)
    else:
        monkeypatch.setattr("numba.config.CACHE_DIR", "")
        monkeypatch.setattr(Path, "home", lambda: (_ for _ in ()).throw(RuntimeError("no home")))
        monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
        monkeypatch.delenv("LOCALAPPDATA", raising=False)
    before = files(kept)
    assert quadrupled(3) == 12
    assert files(kept) == before


def test_the_compiler_finds_no_other_place(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the module, say, where code is not kept apart by what it is made from."""
    import numba.core.caching as caching

    ensured, asked = caching._CacheLocator.ensure_cache_path, []

    def refused(locator: object) -> None:
        asked.append(locator.get_cache_path())  # type: ignore[attr-defined]
        if kept in Path(asked[-1]).parents:
            raise PermissionError
        ensured(locator)

    monkeypatch.setattr(caching._CacheLocator, "ensure_cache_path", refused)
    assert quadrupled(3) == 12
    assert kept not in Path(asked[-1]).parents  # it did look elsewhere
    assert not quadrupled.machines[("int",)].stats.cache_path  # type: ignore[attr-defined]


@pytest.mark.parametrize("suffix", [".nbi", ".nbc"])
def test_damaged_machine_code_is_made_anew(kept: Path, suffix: str) -> None:
    assert quadrupled(3) == 12
    (damaged,) = kept.rglob(f"*{suffix}")
    damaged.write_bytes(damaged.read_bytes()[:20])
    for attempt in range(3):
        quadrupled.machines.clear()  # type: ignore[attr-defined]
        assert quadrupled(3) == 12
        (machine,) = quadrupled.machines.values()  # type: ignore[attr-defined]
        assert sum(machine.stats.cache_hits.values()) == (attempt == 2), attempt


def test_a_full_disk_does_not_end_the_run(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("numba.core.caching.IndexDataCacheFile._save_data", full)
    assert quadrupled(3) == 12
    assert quadrupled(5) == 20
    assert files(kept) == []


def test_folders_used_longest_ago_go_first(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine_code, "MOST_FOLDERS", 3)
    made = [machine_code.folder_for(number) for number in range(3)]
    for age, folder in zip((30, 20, 10), made, strict=True):
        assert folder
        os.utime(folder, (1e9 - age, 1e9 - age))
    assert machine_code.folder_for(0) == made[0]
    made.append(machine_code.folder_for(3))
    assert sorted((kept / "ladderlight").iterdir()) == sorted(folder for folder in (*made[2:], made[0]) if folder)


def test_folders_in_use_stay_however_many_there_are(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process may be about to load them."""
    monkeypatch.setattr(machine_code, "MOST_FOLDERS", 2)
    made = [machine_code.folder_for(number) for number in range(4)]
    assert all(folder and folder.is_dir() for folder in made)
    assert made[0]
    os.utime(made[0], (1e9, 1e9))
    machine_code.folder_for(4)
    assert [folder.is_dir() for folder in made if folder] == [False, True, True, True]


def test_other_folders_stay_however_old_they_are(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Finished pictures are kept beside the machine code."""
    monkeypatch.setattr(machine_code, "MOST_FOLDERS", 1)
    other = kept / "ladderlight" / "pictures"
    other.mkdir(parents=True)
    os.utime(other, (1e8, 1e8))
    first = machine_code.folder_for(0)
    assert first
    os.utime(first, (1e9, 1e9))
    machine_code.folder_for(1)
    assert (other.is_dir(), first.is_dir()) == (True, False)


@pytest.mark.parametrize("error", [SystemError, FileNotFoundError, AttributeError])
def test_machine_code_that_is_removed_while_it_is_loaded_is_made_anew(
    kept: Path, monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    """Whatever the compiler makes of that."""
    assert quadrupled(3) == 12
    quadrupled.machines.clear()  # type: ignore[attr-defined]

    def removed(*_: object) -> None:
        shutil.rmtree(kept / "ladderlight")
        raise error("returned a result with an exception set")

    monkeypatch.setattr("numba.core.caching.IndexDataCacheFile._load_data", removed)
    assert quadrupled(3) == 12


def test_a_fault_of_a_loop_is_reported_as_its_own(kept: Path) -> None:
    with pytest.raises(Exception, match="sum"):
        total(3)


def test_each_combination_of_types_has_a_folder_of_its_own(kept: Path) -> None:
    """Two processes that compile for different types at once would number their files alike."""
    for dtype in (np.uint8, np.uint16):
        assert total(np.ones((2, 3), dtype)) == 6
    assert len(list((kept / "ladderlight").iterdir())) == 2
    assert [path.stem for path in kept.rglob("*.nbc")] == [next(kept.rglob("*.nbc")).stem] * 2


def test_loops_take_numbers_and_loops_from_their_modules_only(kept: Path) -> None:
    """Anything else would be compiled in unseen: changed, the old code would run on."""
    with pytest.raises(TypeError, match=r"\['a'\]"):
        lettered(1)
    loops = [
        value
        for module in pkgutil.walk_packages(ladderlight_stages.__path__, "ladderlight_stages.")
        for value in vars(importlib.import_module(module.name)).values()
        if isinstance(value, Loop)
    ]
    assert len(set(loops)) > 30
    for loop in loops:
        assert list(loop.ingredients())


def test_the_compiler_is_loaded_when_a_loop_is_first_used() -> None:
    """Not when the stages are: a recipe is checked without it."""
    script = (
        "import sys, numpy as np\n"
        "from ladderlight_stages.reductions import advise, diffuse, few_colours, ordered, riemersma, search\n"
        "from ladderlight_stages.halftone.palette_steps import follow\n"
        "before = 'numba' in sys.modules\n"
        "from ladderlight_stages.halftone.tally_loops import mark_used\n"
        "mark_used(np.zeros((1, 1), np.uint16), np.zeros(1, bool))\n"
        "print(before, 'numba' in sys.modules)\n"
    )
    assert run(script) == "False True\n"


def test_a_loop_calls_another_that_waits_too() -> None:
    assert quadrupled(np.int64(3)) == 12
    assert quadrupled(np.int64(5)) == 20


def test_one_machine_serves_all_arrays_in_c_order(kept: Path) -> None:
    """An array of one row is in Fortran's order too; the compiler takes both for C's, so two machines would clash."""
    assert [total(np.ones(shape)) for shape in ((2, 3), (1, 3), (1, 1))] == [6, 3, 1]
    assert len(total.machines) == 1  # type: ignore[attr-defined]
    assert total(np.ones((3, 2)).T) == 6
    assert len(total.machines) == 2  # type: ignore[attr-defined]
