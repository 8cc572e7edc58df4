"""Builds that are stopped, as a whole."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from ladderlight import commands
from ladderlight.commands import program

pytestmark = [
    pytest.mark.skipif(os.name == "nt", reason="signals are others there"),
    pytest.mark.usefixtures("signals_heard"),
]
WAIT = 120  # seconds that a busy machine may take; a pass is much faster


def at_once(started: float) -> float:
    """The seconds in which a command stops: one, or on a busy machine half of what its start has just taken."""
    return max(1.0, started / 2)


def _files(folder: Path) -> dict[str, bytes]:
    found = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    return {name: path.read_bytes() for name, path in found.items() if not name.endswith(".lock")}


@pytest.fixture
def waiting(sign: Path) -> Path:
    """The small project, built, with pictures that take a minute more to build, and banks for them."""
    board = sign.parent / "boards" / "sign.toml"
    text = board.read_text(encoding="utf-8")
    text = text.replace('"2716"', '"27C512"').replace('"y5-y8"]', '"y5-y8", "bank0-bank7"]')
    board.write_text(text, encoding="utf-8")
    assert commands.main(["build", str(sign)]) == 0
    picture = sign.parent / "pictures" / "grey.pgm"
    for number in range(200):
        (picture.parent / f"{number}.pgm").write_bytes(picture.read_bytes())
    (sign.parent / "wait").touch()
    return sign


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_ends_a_build_with_threads_and_leaves_the_last_one(waiting: Path, name: str) -> None:
    out, number = waiting.parent / "out", getattr(signal, name)
    before = _files(out)
    process = subprocess.Popen(
        [sys.executable, "-m", "ladderlight", "build", str(waiting)],
        stderr=subprocess.PIPE,
        text=True,
    )
    end = time.monotonic() + WAIT
    while not (waiting.parent / "waiting").exists() and process.poll() is None and time.monotonic() < end:
        time.sleep(0.05)
    process.send_signal(number)
    _, said = process.communicate(timeout=WAIT)
    assert said.splitlines()[-1] == "stopped; nothing was replaced"
    assert process.returncode == 128 + number
    assert _files(out) == before


@pytest.mark.parametrize("command", ["build", "watch"])
def test_a_stop_does_not_wait_for_what_a_thread_is_at(waiting: Path, command: str) -> None:
    plugin = waiting.parent / "waiting.py"
    plugin.write_text(plugin.read_text(encoding="utf-8").replace("sleep(0.3)", f"sleep({WAIT})"), encoding="utf-8")
    start = time.monotonic()
    process = subprocess.Popen([sys.executable, "-m", "ladderlight", command, str(waiting)], stderr=subprocess.PIPE)
    end = time.monotonic() + WAIT
    while not (waiting.parent / "waiting").exists() and process.poll() is None and time.monotonic() < end:
        time.sleep(0.05)
    began = time.monotonic()
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=WAIT)
    assert time.monotonic() - began < at_once(began - start)
    assert process.returncode == (130 if command == "build" else 0)


@pytest.mark.skipif(os.name == "nt", reason="no process groups there")
@pytest.mark.parametrize("how", [["--processes"], ["--cluster", "local"]])
def test_ctrl_c_ends_a_build_and_its_processes_at_once(waiting: Path, tmp_path: Path, how: list[str]) -> None:
    out, aside, plugin = waiting.parent / "out", tmp_path / "aside", waiting.parent / "waiting.py"
    aside.mkdir()
    here = f"Path({str(waiting.parent)!r})"  # workers of a cluster have a copy elsewhere
    plugin.write_text(plugin.read_text(encoding="utf-8").replace("Path(__file__).parent", here), encoding="utf-8")
    before, start = _files(out), time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "ladderlight", "build", *how, "--no-cache", "--workers", "2", str(waiting)],
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"TMPDIR": str(aside)},
        process_group=0,
    )
    end = time.monotonic() + 10 * WAIT
    while not (waiting.parent / "waiting").exists() and process.poll() is None and time.monotonic() < end:
        time.sleep(0.05)
    began = time.monotonic()
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does
    _, said = process.communicate(timeout=WAIT)
    assert time.monotonic() - began < at_once(began - start)
    assert (said.splitlines()[-1], process.returncode) == ("stopped; nothing was replaced", 130)
    assert "Traceback" not in said
    with pytest.raises(ProcessLookupError):
        while time.monotonic() < began + WAIT:  # its workers see that it has ended
            os.killpg(process.pid, 0)
            time.sleep(0.05)
    assert _files(out) == before
    assert [path.name for path in aside.iterdir() if path.name.startswith("ladderlight-")] == []


def test_a_signal_that_is_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with commands.unwinding() as stops:
            signal.raise_signal(signal.SIGHUP)
            assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
            assert signal.getsignal(signal.SIGTERM) not in (signal.SIG_DFL, signal.SIG_IGN)
    finally:
        signal.signal(signal.SIGHUP, before)
    assert stops.number is None
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_a_command_that_takes_a_signal_for_ctrl_c_ends_with_the_signal_s_status(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def swallowing() -> None:
        """Take a signal as if nothing were."""
        try:
            signal.raise_signal(signal.SIGTERM)
        except KeyboardInterrupt:
            return

    monkeypatch.setattr(program, "COMMANDS", {"swallowing": "tests"})
    monkeypatch.setattr(program, "command_of", lambda _: swallowing)
    assert commands.main(["swallowing"]) == 128 + signal.SIGTERM


def test_threads_of_others_are_waited_for(tmp_path: Path) -> None:
    """As Python itself does: one of a plugin may be writing."""
    code = f"""
import sys, threading, time
from pathlib import Path
from ladderlight import commands
def write():
    time.sleep(0.5)
    Path({str(tmp_path / "log")!r}).write_text("written")
threading.Thread(target=write).start()
sys.argv[1:] = ["check", "missing.toml"]
sys.exit(commands.main())
"""
    done = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, cwd=tmp_path)
    assert done.returncode == 1
    assert (tmp_path / "log").read_text() == "written"
