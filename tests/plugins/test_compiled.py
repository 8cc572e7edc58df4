"""Compiling loops where machine code can be kept and where it cannot."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numba import njit

from ladderlight_stages.compiled import compiled


def test_without_a_place_for_machine_code_loops_are_compiled_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:

    def no_place(*functions: object, **options: object) -> object:
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return njit(*functions, **options)

    monkeypatch.setattr("numba.njit", no_place)

    def doubled(value: int) -> int:
        return 2 * value

    assert compiled(doubled)(21) == 42


def test_machine_code_is_kept_for_the_next_run(tmp_path: Path) -> None:
    """In a folder given to numba; the second run finds all it needs there and adds nothing."""
    script = (
        "import numpy as np\n"
        "from ladderlight_stages.reductions.grid import nearest_members as f\n"
        "a = np.zeros((1, 3), np.float32)\n"
        "f(a, a, a[0], a[0], 1, np.array([0, 1], np.int32), np.zeros(1, np.int32))\n"
        "print(sum(f.machine.stats.cache_hits.values()))\n"
    )
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    hits = [
        subprocess.run(
            [sys.executable, "-c", script], env=environment, check=True, capture_output=True, text=True
        ).stdout
        for _ in range(2)
    ]
    assert [int(text) for text in hits] == [0, 1]
    assert list(tmp_path.rglob("*.nbc"))


def test_the_compiler_is_loaded_when_a_loop_is_first_used() -> None:
    """Not when the stages are: a recipe is checked without it."""
    script = (
        "import sys, numpy as np\n"
        "from ladderlight_stages.reductions import advise, diffuse, few_colours, ordered, riemersma, search\n"
        "from ladderlight_stages.reductions.palette_steps import follow\n"
        "before = 'numba' in sys.modules\n"
        "from ladderlight_stages.reductions.tally_loops import mark_used\n"
        "mark_used(np.zeros((1, 1), np.uint16), np.zeros(1, bool))\n"
        "print(before, 'numba' in sys.modules)\n"
    )
    found = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout
    assert found == "False True\n"


def test_a_loop_calls_another_that_waits_too() -> None:
    assert _quadrupled(np.int64(3)) == 12
    assert _quadrupled(np.int64(5)) == 20


@compiled
def _twice(value: int) -> int:
    return 2 * value


@compiled
def _quadrupled(value: int) -> int:
    return _twice(_twice(value))  # type: ignore[no-any-return]
