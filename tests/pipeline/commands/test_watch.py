"""Watching a recipe."""

from __future__ import annotations

import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"
WAIT = 60  # seconds that a build may take on a busy machine; a pass is much faster


class Watcher:
    """A running watch, and the lines that it says."""

    def __init__(self, recipe: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ladderlight", "watch", str(recipe)],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
        )
        self.lines: queue.Queue[str] = queue.Queue()
        self.reader = threading.Thread(target=self._read)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.lines.put(line)

    def until_watching(self) -> str:
        said = ""
        while "watching" not in said:
            said += self.lines.get(timeout=WAIT)
        return said

    def end(self) -> int:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        status = self.process.wait(timeout=WAIT)
        self.reader.join(timeout=WAIT)
        if self.process.stderr is not None:
            self.process.stderr.close()
        return status


@pytest.fixture
def watcher(tmp_path: Path) -> Iterator[Watcher]:
    """Watch a copy of a small recipe in ``tmp_path``."""
    shutil.copytree(LANTERN, tmp_path / "lantern", ignore=shutil.ignore_patterns("out", "__pycache__"))
    found = Watcher(tmp_path / "lantern" / "recipe.toml")
    yield found
    found.end()


@pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise on Windows")
def test_a_change_is_built_a_mistake_is_reported_and_both_go_on(watcher: Watcher, tmp_path: Path) -> None:
    recipe = tmp_path / "lantern" / "recipe.toml"
    device = tmp_path / "lantern" / "out" / "devices" / "picture.bin"
    assert "built " in watcher.until_watching()
    before = device.read_bytes()

    text = recipe.read_text()
    recipe.write_text(text.replace("reach = 0.6", "reach = 6"))
    assert "recipe.toml:37:9: " in watcher.until_watching()
    assert device.read_bytes() == before

    recipe.write_text(text.replace("reach = 0.6", "reach = 0.3"))
    assert "built " in watcher.until_watching()
    assert device.read_bytes() != before
    assert watcher.end() == 0


@pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise on Windows")
def test_a_recipe_of_words_alone_is_watched(tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.toml"
    (tmp_path / "words.bin").write_bytes(b"\1\0" * 32)
    head = (LANTERN / "recipe.toml").read_text(encoding="utf-8")
    board = head[head.index("[board]") : head.index("[pictures]")]
    stages = '[[stage]]\nuse = "raw"\nmemory = "picture"\nfile = "words.bin"\n[[stage]]\nuse = "binary"\n'
    recipe.write_text(f"format = 1\n{board}{stages}", encoding="utf-8")
    watcher = Watcher(recipe)
    try:
        assert "built " in watcher.until_watching()
        assert (tmp_path / "out" / "devices" / "picture.bin").read_bytes()[:4] == b"\1\0\1\0"
        (tmp_path / "words.bin").write_bytes(b"\2\3" * 32)
        assert "built " in watcher.until_watching()
        assert (tmp_path / "out" / "devices" / "picture.bin").read_bytes()[:4] == b"\2\3\2\3"
    finally:
        watcher.end()
