"""Compiling loops, and keeping machine code by all that it is made from."""

from __future__ import annotations

import importlib
import os
import pkgutil
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

import ladderlight
import ladderlight_stages
from ladderlight_stages import machine_code
from ladderlight_stages.compiled import Loop, compiled
from ladderlight_stages.machines import ObjectCode

FACTOR = 2
LETTERS = ["a"]
ONE_PIXEL = (
    "import numpy as np\n"
    "from ladderlight_stages.halftone.grid import Grid, nearest_members as f\n"
    "a, n = np.zeros((1, 3), np.float32), np.zeros(1, np.int32)\n"
    "f(a, a, a[0], a[0], Grid(1, np.array([0, 1], np.int32), n, n, np.zeros(1)))\n"
    "import sys; print('numba' in sys.modules)\n"
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
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(folder))
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
    """What has been kept."""
    return sorted(path for path in folder.rglob("*") if path.is_file())


def test_machine_code_is_kept_for_the_next_run_wherever_the_package_is(tmp_path: Path) -> None:
    """The second run finds all it needs and adds nothing; so does one of a copy, whose files have other times."""
    kept, copy = tmp_path / "kept", tmp_path / "copy"
    assert run(ONE_PIXEL, NUMBA_CACHE_DIR=str(kept)) == "True\n"
    before = files(kept)
    assert len(before) == 1
    package = Path(ladderlight_stages.__path__[0])
    shutil.copytree(package, copy / package.name, copy_function=shutil.copyfile)
    for places in ([], [str(copy), str(Path(ladderlight.__path__[0]).parent)]):
        more = {"PYTHONPATH": os.pathsep.join(places)} if places else {}
        assert run(ONE_PIXEL, NUMBA_CACHE_DIR=str(kept), **more) == "False\n"
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
    assert run(ONE_PIXEL, NUMBA_CACHE_DIR="", XDG_CACHE_HOME=str(tmp_path), LOCALAPPDATA=str(tmp_path)) == "True\n"
    assert set(package.rglob("*.nb?")) == before
    if sys.platform != "darwin":
        assert files(tmp_path / "ladderlight")


@pytest.mark.parametrize("obstacle", ["file", "another user's", "no home"])
def test_without_a_place_for_machine_code_loops_are_compiled_all_the_same(
    kept: Path, monkeypatch: pytest.MonkeyPatch, obstacle: str
) -> None:
    if obstacle == "file":
        (kept / "ladderlight").write_text("in the way")
    elif obstacle == "another user's":  # that of an administrator is not made either
        monkeypatch.setattr("os.geteuid", lambda: 12345)
    else:
        monkeypatch.setenv("NUMBA_CACHE_DIR", "")
        monkeypatch.setattr(Path, "home", lambda: (_ for _ in ()).throw(RuntimeError("no home")))
        monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
        monkeypatch.delenv("LOCALAPPDATA", raising=False)
    before = sorted(kept.rglob("*"))
    assert quadrupled(3) == 12
    assert sorted(kept.rglob("*")) == before


@pytest.mark.parametrize("damage", [lambda data: data[:40], lambda data: data[:-1] + b"\0\1", lambda data: b""])
def test_damaged_machine_code_is_made_anew(kept: Path, damage: Callable[[bytes], bytes]) -> None:
    """It is never run: a processor would do whatever it says."""
    assert quadrupled(3) == 12
    (path,) = files(kept)
    whole = path.read_bytes()
    path.write_bytes(damage(whole))
    quadrupled.machines.clear()  # type: ignore[attr-defined]
    assert quadrupled(3) == 12
    assert path.read_bytes()[32:].startswith(b'{"name":')
    assert len(path.read_bytes()) == len(whole)


def test_the_code_of_another_loop_is_not_run(kept: Path) -> None:
    """Whoever has exchanged the files."""
    assert (twice(3), quadrupled(3)) == (6, 12)
    one, other = (path.read_bytes() for path in files(kept))
    for path, data in zip(files(kept), (other, one), strict=True):
        path.write_bytes(data)
    for loop in (twice, quadrupled):
        loop.machines.clear()  # type: ignore[attr-defined]
    assert (twice(3), quadrupled(3)) == (6, 12)


def test_a_full_disk_does_not_end_the_run(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fdopen", full)
    assert quadrupled(3) == 12
    assert quadrupled(5) == 20
    assert files(kept) == []


def test_the_code_of_another_processor_is_not_run(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One home on several machines."""
    assert quadrupled(3) == 12
    quadrupled.machines.clear()  # type: ignore[attr-defined]
    machine_code._versions.cache_clear()
    monkeypatch.setattr(machine_code, "processor", lambda: ("another", "+sse2", "x86_64"))
    assert quadrupled(3) == 12
    assert len(files(kept)) == 2
    machine_code._versions.cache_clear()


LOOP = ObjectCode(name="loop", parameters=[], result="", code=b"code")


def keep(folder: Path, number: int) -> Path:
    """Keep something, and return its file."""
    path = folder / "ladderlight" / f"{number:024x}"
    machine_code._keep(path, LOOP)
    return path


def test_files_used_longest_ago_go_first(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine_code, "MOST_FILES", 3)
    made = [keep(kept, number) for number in range(3)]
    for age, path in zip((10, 30, 20), made, strict=True):
        os.utime(path, (1e9 - age, 1e9 - age))
    made.append(keep(kept, 3))
    assert files(kept) == [made[0], made[2], made[3]]
    assert machine_code._read(made[3]) == LOOP


def test_files_in_use_stay_however_many_there_are(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process may be about to load them."""
    monkeypatch.setattr(machine_code, "MOST_FILES", 2)
    made = [keep(kept, number) for number in range(4)]
    assert files(kept) == made
    os.utime(made[0], (1e9, 1e9))
    made.append(keep(kept, 4))
    assert files(kept) == made[1:]


def test_what_a_killed_process_has_left_goes_in_its_turn(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine_code, "MOST_FILES", 1)
    with monkeypatch.context() as killed:
        killed.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            keep(kept, 0)
    (left,) = files(kept)
    os.utime(left, (1e9, 1e9))
    assert [keep(kept, 1)] == files(kept)


def test_what_is_not_machine_code_stays_and_that_of_earlier_versions_goes(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Finished pictures are kept beside it; it was in folders."""
    monkeypatch.setattr(machine_code, "MOST_FILES", 1)
    other, earlier = kept / "ladderlight" / "pictures", kept / "ladderlight" / ("0" * 24)
    for folder in (other, earlier):
        folder.mkdir(parents=True)
        os.utime(folder, (1e8, 1e8))
    keep(kept, 1)
    assert (other.is_dir(), earlier.is_dir()) == (True, False)


def test_machine_code_that_is_removed_while_it_is_loaded_is_made_anew(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert quadrupled(3) == 12
    quadrupled.machines.clear()  # type: ignore[attr-defined]
    shutil.rmtree(kept)
    assert quadrupled(3) == 12
    assert len(files(kept)) == 1


def test_a_fault_of_a_loop_is_reported_as_its_own(kept: Path) -> None:
    with pytest.raises(Exception, match="sum"):
        total(3)


def test_each_combination_of_types_has_a_file_of_its_own(kept: Path) -> None:
    for dtype in (np.uint8, np.uint16):
        assert total(np.ones((2, 3), dtype)) == 6
    assert len(files(kept)) == 2


def test_a_warm_build_does_without_the_compiler(tmp_path: Path) -> None:
    """Which takes longer to load than all loops take to run."""
    project = shutil.copytree(Path("recipes/lobby").resolve(), tmp_path / "lobby", ignore=shutil.ignore_patterns("out"))
    script = (
        "import sys\n"
        "from ladderlight.commands import main\n"
        f"assert main(['build', '--quiet', '--force', '--no-cache', {str(project / 'recipe.toml')!r}]) == 0\n"
        "print('numba' in sys.modules)\n"
    )
    run(script)
    assert run(script).splitlines()[-1] == "False"


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


def test_the_compiler_is_loaded_when_a_loop_is_first_compiled(tmp_path: Path) -> None:
    """Not when the stages are: a recipe is checked without it."""
    script = (
        "import sys, numpy as np\n"
        "from ladderlight_stages.reductions import advise, diffuse, few_colours, ordered, riemersma, search\n"
        "from ladderlight_stages.halftone.palette_steps import follow\n"
        "before = 'llvmlite' in sys.modules or 'numba' in sys.modules\n"
        "from ladderlight_stages.halftone.tally_loops import count_colours\n"
        "count_colours(np.zeros((1, 1), np.uint16), np.zeros(1, np.int32))\n"
        "print(before, 'numba' in sys.modules)\n"
    )
    assert run(script, NUMBA_CACHE_DIR=str(tmp_path)) == "False True\n"
    assert run(script, NUMBA_CACHE_DIR=str(tmp_path)) == "False False\n"


def test_a_loop_calls_another_that_waits_too() -> None:
    assert quadrupled(np.int64(3)) == 12
    assert quadrupled(np.int64(5)) == 20


def test_one_machine_serves_all_arrays_in_c_order(kept: Path) -> None:
    """An array of one row is in Fortran's order too; the compiler takes both for C's, so two machines would clash."""
    assert [total(np.ones(shape)) for shape in ((2, 3), (1, 3), (1, 1))] == [6, 3, 1]
    assert len(total.machines) == 1  # type: ignore[attr-defined]
    assert total(np.ones((3, 2)).T) == 6
    assert len(total.machines) == 2  # type: ignore[attr-defined]
