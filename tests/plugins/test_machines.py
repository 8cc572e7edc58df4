"""Machine code called without the compiler."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from ladderlight_stages.compiled import compiled
from ladderlight_stages.machines import Machine, _data_of


@compiled
def nothing(values: object, flag: bool, number: int) -> None:
    pass


@compiled
def several(values: object, flag: bool, number: int) -> object:
    found = np.empty(values.shape, np.float32)  # type: ignore[attr-defined]
    found[:] = number
    return found, values * 2, number * 0.5, flag, np.zeros((2, 2, 2), np.uint8)  # type: ignore[operator]


@compiled
def same(values: object, flag: bool, number: int) -> object:
    return values[1:] if flag else values  # type: ignore[index]


class Pair(NamedTuple):
    values: object
    more: object


@compiled
def of_pair(pair: Pair, number: int) -> object:
    values, (factor, flag) = pair
    return pair.values * factor, values[number:], flag  # type: ignore[index,operator]


@compiled
def ordered(values: object) -> object:
    return sorted(values)[0]  # type: ignore[call-overload]


@compiled
def refusing(number: int) -> int:
    if number > 2:
        raise ValueError("too many")
    return number


@compiled
def filled(number: int) -> object:
    return np.ones(number)


@compiled
def doubled(number: int) -> int:
    return number * 2


@pytest.fixture(autouse=True)
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty place for machine code."""
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    for loop in (nothing, several, same, of_pair, ordered, refusing, filled, doubled):
        loop.machines.clear()  # type: ignore[attr-defined]
    return tmp_path


def test_every_kind_of_result_is_what_python_gives() -> None:
    """Numbers, nothing, arrays and tuples of them, and an array that was handed in."""
    values = np.arange(6, dtype=np.float32).reshape(2, 3)
    for loop in (nothing, several, same):
        found, wanted = loop(values, True, 3), loop.function(values, True, 3)  # type: ignore[attr-defined]
        (machine,) = loop.machines.values()  # type: ignore[attr-defined]
        assert isinstance(machine, Machine)
        assert type(found) is type(wanted)
        pairs = zip(found, wanted, strict=True) if isinstance(found, tuple) else [(found, wanted)]
        for one, other in pairs:
            assert np.array_equal(one, other)
            assert np.asarray(one).dtype == np.asarray(other).dtype


def test_tuples_are_given_as_what_is_in_them() -> None:
    """Those of one more array or of another type of number are other kinds."""
    for values in (np.arange(4, dtype=np.float32), np.arange(4, dtype=np.uint16)):
        for more in ((3, True), (2, False), (0.5, True)):
            pair = Pair(values, more)
            wanted = of_pair.function(pair, 1)  # type: ignore[attr-defined]
            assert all(map(np.array_equal, of_pair(pair, 1), wanted))
    machines = of_pair.machines  # type: ignore[attr-defined]
    assert len(machines) == 4
    assert all(isinstance(machine, Machine) for machine in machines.values())


def test_arrays_that_loops_make_are_freed_with_their_last_holder() -> None:
    resource = pytest.importorskip("resource")
    values = np.ones((1, 1 << 20), dtype=np.float32)
    first, *_ = several(values, False, 2)
    view = first[:, 5:9]
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for _ in range(200):
        several(values, False, 2)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100 << 10  # kB; 2.4 GB if none were freed
    del first
    assert view.tolist() == [[2.0] * 4]


def test_a_loop_that_needs_the_compiler_is_run_by_it(kept: Path) -> None:
    assert ordered(np.array([3, 1, 2])) == 1
    (machine,) = ordered.machines.values()  # type: ignore[attr-defined]
    assert not isinstance(machine, Machine)
    assert list((kept / "ladderlight").glob("*")) == []


def test_a_loop_that_fails_says_why() -> None:
    with pytest.raises(ValueError, match="too many"):
        refusing(3)
    with pytest.raises(MemoryError):
        filled(1 << 50)


def test_integers_keep_their_sign() -> None:
    """The compiler takes those from 2 to the power of 63 as unsigned, and others as signed."""
    assert [doubled(number) for number in (1 << 62, -1, 1 << 63, -1)] == [-(1 << 63), -2, 0, -2]  # modulo 2^64


def test_arrays_may_outlive_what_frees_them() -> None:
    """When Python ends, modules go one by one, and with each what it holds."""
    script = "import ctypes\nfrom tests.plugins.test_machines import filled\nctypes.held = filled(3)\n"
    done = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    assert done.stderr == ""


@pytest.mark.parametrize("array", [np.arange(6), np.arange(6)[2:4], np.zeros((2, 3), np.uint8)[:, 1], np.empty((0, 4))])
def test_the_place_of_an_arrays_items_is_what_numpy_says(array: np.ndarray) -> None:
    assert (_data_of(array) or 0) == array.ctypes.data
