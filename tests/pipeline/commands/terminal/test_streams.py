"""Streams that cannot be written, as processes meet them."""

from __future__ import annotations

import io
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from ladderlight.commands.terminal.streams import Stream

LANTERN = Path(__file__).parents[3] / "recipes" / "lantern" / "recipe.toml"
COMMAND = f"{shlex.quote(sys.executable)} -m ladderlight"
WAIT = 60

shell = pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")


def run(line: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "-c", line], capture_output=True, text=True, timeout=WAIT, env={**os.environ, **environment}
    )


@shell
@pytest.mark.parametrize("arguments", ["stages", "stages --json", "schema", "--help", "ladder --bits 2"])
def test_a_closed_pipe_is_quiet_and_ends_as_programs_do(arguments: str) -> None:
    done = run(f"{COMMAND} {arguments} | true; echo ${{PIPESTATUS[0]}}")
    assert (done.stdout, done.stderr) == ("141\n", "")


@shell
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize("arguments", ["stages", "schema", f"check {LANTERN} --json", "--version", "--help"])
def test_a_full_disk_below_stdout_is_one_line_and_status_1(arguments: str) -> None:
    done = run(f"{COMMAND} {arguments} >/dev/full")
    assert (done.returncode, done.stderr) == (
        1,
        "stdout: cannot be written (No space left on device); choose another place\n",
    )


@shell
@pytest.mark.parametrize(
    ("arguments", "status"), [("stages", 0), ("stages difuse", 1), ("build nowhere.toml --json", 1), ("biuld", 2)]
)
def test_closed_streams_change_nothing_else(arguments: str, status: int) -> None:
    for closed in (">&-", "2>&-", ">&- 2>&-", "2>/dev/full"):
        done = run(f"{COMMAND} {arguments} {closed}")
        assert done.returncode == status, (closed, done.stderr)
        assert "Traceback" not in done.stderr
        assert "Exception" not in done.stderr


@shell
@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_letters_that_a_stream_lacks_are_written_as_escapes(tmp_path: Path, encoding: str) -> None:
    recipe = tmp_path / "灯台.toml"
    recipe.write_text(LANTERN.read_text(encoding="utf-8").replace("lantern.py", str(LANTERN.parent / "lantern.py")))
    recipe.write_text(recipe.read_text().replace("pictures/", f"{LANTERN.parent}/pictures/"))
    done = run(f"{COMMAND} check {shlex.quote(str(recipe))}x", PYTHONIOENCODING=encoding)
    assert done.returncode == 1
    assert r"\u706f\u53f0.tomlx: there is no such file" in done.stderr
    done = run(f"{COMMAND} check {shlex.quote(str(recipe))}x --json", PYTHONIOENCODING=encoding)
    assert json.loads(done.stdout)["findings"][0]["where"] == f"{recipe}x"


def test_what_fails_is_kept_and_the_rest_is_dropped() -> None:
    class Full(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(28, "No space left on device")

    stream = Stream(Full())
    assert stream.write("a") == 1
    stream.flush()
    assert stream.failure is not None
    assert stream.failure.errno == 28
    assert not stream.broken
    closed = io.StringIO()
    closed.close()
    assert not Stream(closed).isatty()
    assert Stream(closed).write("a") == 1
    assert Stream(None).write("a") == 1
