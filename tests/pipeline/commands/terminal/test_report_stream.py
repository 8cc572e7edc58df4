"""Stdout, kept for reports from all that else would write to it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

PLUGIN = """
import ctypes, os
from ladderlight import Picture, PictureError, stage

@stage(help="Writes to file 1 in the ways that a library in C does.")
def wait(picture: Picture) -> Picture:
    os.write(1, b"from a write\\n")
    ctypes.CDLL(None).printf(b"from a buffer\\n")
    print("from Python")
    os.system("echo from a child")
    return picture
"""

pytestmark = pytest.mark.skipif(os.name == "nt", reason="there is not one C library for all")


def _run(recipe: Path, *arguments: str, plugin: str = PLUGIN, **more: object) -> tuple[int, str, str]:
    recipe.with_name("waiting.py").write_text(plugin, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "ladderlight", "build", str(recipe), *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        **more,  # type: ignore[call-overload]
    )
    return done.returncode, done.stdout, done.stderr


def test_what_a_plugin_in_c_writes_stays_out_of_the_document(sign: Path) -> None:
    status, out, err = _run(sign, "--json")
    assert status == 0
    assert json.loads(out)["ok"] is True
    assert {f"from {what}" for what in ("a write", "a buffer", "Python", "a child")} <= set(err.splitlines())


def test_what_a_plugin_in_c_writes_stays_out_of_the_document_of_a_failure(sign: Path) -> None:
    status, out, _ = _run(sign, "--json", plugin=PLUGIN.replace("return picture", "raise PictureError('is dark')"))
    assert status == 1
    assert [finding["message"] for finding in json.loads(out)["findings"]] == ["is dark"]


def test_without_a_document_stdout_is_left_as_it_is(sign: Path) -> None:
    _, out, _ = _run(sign)
    assert {"from a write", "from a buffer", "from a child"} <= set(out.splitlines())
    assert "devices/picture.bin" in out


def test_a_document_with_stderr_closed(sign: Path) -> None:
    status, out, _ = _run(sign, "--json", preexec_fn=lambda: os.close(2))
    assert (status, json.loads(out)["ok"]) == (0, True)
