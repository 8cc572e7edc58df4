"""Builds that are killed at seeded moments, or fail at any of their writes: the next command finds one whole build.

``LADDERLIGHT_KILLS=200`` kills as many builds as that, in place of 16, and then fails at every write and rename.
"""

from __future__ import annotations

import errno
import itertools
import os
import random
import shutil
import signal
import statistics
import time
import traceback
from collections import Counter
from collections.abc import Callable
from contextlib import nullcontext
from hashlib import sha256
from json import loads
from pathlib import Path

import pytest

from ladderlight import commands

from ..failing_disk import Disk

pytestmark = [
    pytest.mark.skipif(os.name == "nt", reason="processes are forked"),
    pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning"),
]

KILLS = int(os.environ.get("LADDERLIGHT_KILLS", "16"))
EVERY = 1 if KILLS > 100 else 6
"""Of the writes and renames of a build, one in so many fails."""
STAGED = ".ladderlight/new"
"""Folder in the output folder from a build's first file to its end, which is some 50 ms later."""
NOTES = {"notes.txt": b"mine", "devices/notes.txt": b"mine", "proof/screens/notes.txt": b"mine"}
NEXT = ("check", "compare", "decode", "burned", "build")

JOURNAL = ".ladderlight/journal.json"
PROJECT = {"boards", "pictures", "recipe.toml", "waiting.py", "out", "__pycache__"}
PAST = 70
"""Status of a build that has fewer steps."""

State = dict[str, bytes]


def _state(out: Path) -> State:
    """Everything in the output folder, of the program's own folder as well, but for locks, which are empty and stay."""
    found = {path.relative_to(out).as_posix(): path for path in out.rglob("*") if path.is_file()}
    return {name: path.read_bytes() for name, path in found.items() if path.suffix != ".lock"}


def _started(recipe: Path, disk: Disk | None = None) -> int:
    """Begin a build in a process group of its own, on a disk that may fail."""
    child = os.fork()
    if child:
        os.setpgid(child, child)
        return child
    status = 1
    try:
        os.setpgid(0, 0)
        with disk.installed() if disk else nullcontext():
            status = commands.main(["build", str(recipe), "--quiet"])
        if disk and disk.at > disk.calls:
            status = PAST
    except BaseException:
        traceback.print_exc()
        raise
    finally:
        os._exit(status)


def _wait_for(path: Path, child: int) -> None:
    """Wait until a build has made a file or folder, or has ended; there for 2 ms, the journal is soon gone again."""
    ended = os.WEXITED | os.WNOHANG | os.WNOWAIT
    while not path.exists() and os.waitid(os.P_PID, child, ended) is None:
        time.sleep(0.0001)


def _durations(recipe: Path) -> tuple[float, float]:
    """Return how long a build takes, and how long its last part, in which it touches the output folder."""
    began = time.perf_counter()
    child = _started(recipe)
    _wait_for(recipe.parent / "out" / STAGED, child)
    staged = time.perf_counter()
    assert os.waitpid(child, 0)[1] == 0
    return time.perf_counter() - began, time.perf_counter() - staged


def _pictured(recipe: Path, which: int) -> None:
    ramp = bytes(range(0, 240, 20))
    (recipe.parent / "pictures" / "grey.pgm").write_bytes(b"P5 4 3 255\n" + (ramp[::-1] if which else ramp))


def _assert_own(out: Path) -> None:
    """Check that a manifest lies beside the files that it names, if it is there at all."""
    manifest = out / "manifest.json"
    if manifest.exists():
        for device in loads(manifest.read_bytes())["devices"]:
            (name,) = device["files"]  # a binary file holds the image and nothing else
            assert sha256((out / "devices" / name).read_bytes()).hexdigest() == device["sha256"]


def _assert_clear(recipe: Path) -> None:
    """Check that nothing is left of a build beside its files."""
    private = recipe.parent / "out" / ".ladderlight"
    assert {path.name for path in private.glob("*")} <= {"building.lock", "placing.lock", "record.json"}
    assert {path.name for path in recipe.parent.iterdir()} <= PROJECT


def _run_next(command: str, recipe: Path, dump: Path) -> int:
    more = {"compare": [str(dump)], "decode": [str(dump), "--into", str(dump.parent / "decoded")]}
    status = commands.main([command, str(recipe), *more.get(command, ()), "--quiet"])
    (recipe.parent / "burned.json").unlink(missing_ok=True)
    return status


def _built(recipe: Path, folder: Path) -> tuple[dict[tuple[int | None, int], State], Path]:
    """Build with one picture after the other; return the states, and a dump of the first.

    A state is known by the picture of the build before and its own, since the proof says what has changed.
    """
    whole: dict[tuple[int | None, int], State] = {}
    out = recipe.parent / "out"
    for before, which in ((None, 1), (None, 0), (0, 1), (1, 0), (0, 1)):
        if before is None and out.exists():
            shutil.rmtree(out)
        _pictured(recipe, which)
        assert commands.main(["build", str(recipe), "--quiet"]) == 0
        whole[before, which] = _state(out)
    dump = folder / "picture.bin"
    dump.write_bytes(whole[None, 0]["devices/picture.bin"])
    assert whole[None, 0]["devices/picture.bin"] != whole[None, 1]["devices/picture.bin"]
    return whole, dump


def test_builds_that_are_killed(sign: Path, tmp_path: Path) -> None:
    out = sign.parent / "out"
    whole, dump = _built(sign, tmp_path)
    usual, last = map(statistics.median, zip(*(_durations(sign) for _ in range(3)), strict=True))
    chance = random.Random(1234)
    found: Counter[str] = Counter()
    current: int | None = 1
    for number in range(KILLS):
        first = number % 6 == 5
        if first:
            shutil.rmtree(out)
            current = None
        notes = {} if first else NOTES
        for name, text in notes.items():
            (out / name).write_bytes(text)
        old = {} if first else _state(out)
        which = number // 2 % 2
        _pictured(sign, which)
        new = old if which == current else whole[current, which] | notes
        current = which
        child = _started(sign)
        if number % 2:
            time.sleep(chance.uniform(0, usual))
        elif number % 4:
            _wait_for(out / STAGED, child)
            time.sleep(chance.uniform(0, last))
        else:
            _wait_for(out / JOURNAL, child)
            time.sleep(chance.uniform(0, 0.002))
        os.killpg(child, signal.SIGKILL)
        killed = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert killed in (0, -signal.SIGKILL)
        found["killed" if killed else "had ended"] += 1
        found["begun to place"] += (out / JOURNAL).exists()
        _assert_own(out)
        command = NEXT[number % len(NEXT)]
        status = _run_next(command, sign, dump)
        state = _state(out)
        told = f"kill {number}, seen by {command}"
        assert state in ([new] if command == "build" else [old, new]), told
        unbuilt = command in ("compare", "burned") and not state
        assert status in ((0, 1) if command == "compare" or unbuilt else (0,)), told
        _assert_clear(sign)
        found["new" if state == new else "old"] += 1
        assert commands.main(["build", str(sign), "--quiet"]) == 0
        assert _state(out) == new, told
    print(f"{usual * 1e3:.0f} ms a build, the last {last * 1e3:.0f} ms in its folder; {dict(found)}")  # noqa: T201 - for LADDERLIGHT_KILLS
    assert found["killed"] > KILLS // 3


def _full() -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _damaged() -> None:
    raise OSError(errno.EIO, os.strerror(errno.EIO))


@pytest.mark.parametrize("strike", [_full, _damaged, lambda: os.kill(os.getpid(), signal.SIGKILL)])
def test_a_build_that_fails_at_any_write_or_rename(sign: Path, tmp_path: Path, strike: Callable[[], None]) -> None:
    out = sign.parent / "out"
    whole, dump = _built(sign, tmp_path)
    ended = 0
    for at in itertools.count(1, EVERY):
        old, which = _state(out), at // EVERY % 2
        current = next(which for (_, which), state in whole.items() if state == old)
        new = old if which == current else whole[current, which]
        _pictured(sign, which)
        child = _started(sign, Disk(strike, at, of=("write", "rename", "replace")))
        ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        _assert_own(out)
        assert ended in (0, 1, PAST, -signal.SIGKILL)
        _run_next(NEXT[at % 4], sign, dump)
        assert _state(out) in ([new] if ended in (0, PAST) else [old, new]), f"step {at}"
        _assert_clear(sign)
        if ended == PAST:
            break
    assert at > 20
