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
QUAY = Path(__file__).parents[3] / "recipes" / "quay-shelter"
WAIT = 60  # seconds that a build may take on a busy machine; a pass is much faster

pytestmark = pytest.mark.usefixtures("signals_heard")


class Watcher:
    """A running watch, and the lines that it says."""

    def __init__(self, recipe: Path, *more: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ladderlight", "watch", str(recipe), *more],
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

    def end(self, by: signal.Signals = signal.SIGINT) -> int:
        if self.process.poll() is None:
            self.process.send_signal(by)
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


@pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise on Windows")
def test_what_a_build_reads_is_watched_and_nothing_else(watcher: Watcher, tmp_path: Path) -> None:
    folder = tmp_path / "lantern"
    assert "built " in watcher.until_watching()

    # Its own log, notes, another program's files beside it: nothing is built.
    for name in ("watch.log", "notes.txt", "out/devices/other.bin", "pictures/notes.txt"):
        (folder / name).write_text("a")
    with pytest.raises(queue.Empty):
        watcher.lines.get(timeout=3)

    # A plugin that fails, first when it is loaded and then when it is run, ends nothing.
    plugin = (folder / "lantern.py").read_text()
    save_as_editors_do(folder / "lantern.py", f"{plugin}\nraise RuntimeError('not yet')\n")
    assert "not yet" in watcher.until_watching()
    save_as_editors_do(folder / "lantern.py", plugin.replace("height, width = ", "height, width, depth = "))
    said = watcher.until_watching()
    assert "bug: stage 'lantern' of plugin 'lantern.py' failed on pictures/chart.png: ValueError" in said
    save_as_editors_do(folder / "lantern.py", plugin)
    assert "built " in watcher.until_watching()

    # A picture that comes in pieces, of which the first are no picture.
    (folder / "pictures" / "lighthouse.png").unlink()  # there are two banks
    assert "built " in watcher.until_watching()
    whole = (folder / "pictures" / "chart.png").read_bytes()
    (folder / "pictures" / "slow.png").write_bytes(whole[:100])
    assert "pictures/slow.png: " in watcher.until_watching()
    with (folder / "pictures" / "slow.png").open("ab") as file:
        file.write(whole[100:])
    while "built " not in (said := watcher.until_watching()):
        assert "pictures/slow.png: " in said

    # What was made goes, and then the whole folder, which comes back.
    shutil.rmtree(folder / "out")
    assert "built " in watcher.until_watching()
    folder.rename(tmp_path / "away")
    assert "recipe.toml: there is no such file" in watcher.until_watching()
    (tmp_path / "away").rename(folder)
    assert "out/proof/index.html: up to date" in watcher.until_watching()
    assert watcher.end(signal.SIGTERM) == 128 + signal.SIGTERM


@pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise on Windows")
def test_only_what_a_change_touches_is_built_again(sign: Path) -> None:
    """Of two revisions, whose boards are files of their own, and of two pictures."""
    folder = sign.parent
    board = (folder / "boards" / "sign.toml").read_text().replace('"y5-y8"', '"y5-y8", "bank0"')
    (folder / "boards" / "sign.toml").write_text(board)
    (folder / "boards" / "fine.toml").write_text(board.replace("x6-x9", "x5-x9"))
    shutil.copy(folder / "pictures" / "grey.pgm", folder / "pictures" / "other.pgm")
    text = sign.read_text().replace('board = "boards/sign.toml"\n', "")
    sign.write_text(text + '\n[revisions]\na = "boards/sign.toml"\nb = "boards/fine.toml"\n')
    watcher = Watcher(sign)
    try:
        said = watcher.until_watching()
        assert said.count("2 of 2 pictures reduced") == 2
        (folder / "pictures" / "other.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(255, 15, -20)))
        said = watcher.until_watching()
        assert said.count("1 of 2 pictures reduced") == 2
        (folder / "boards" / "fine.toml").write_text(board.replace("x6-x9", "x5-x9").replace('"470"', '"390"'))
        said = watcher.until_watching()
        assert "out/a/proof/index.html: up to date" in said
        assert "2 of 2 pictures reduced" in said.partition("up to date")[2]
    finally:
        watcher.end()


def test_a_recipe_that_never_was_ends_it_with_one_line(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "ladderlight", "watch", "nowhere.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=WAIT,
    )
    line = "nowhere.toml: there is no such file; check the path\n"
    assert (done.returncode, done.stdout, done.stderr) == (1, "", line)


def save_as_editors_do(path: Path, text: str) -> None:
    """Write a file beside its place and rename it into place."""
    aside = path.with_name(f".{path.name}.swp")
    aside.write_text(text)
    aside.replace(path)


def test_one_revision_is_built(tmp_path: Path) -> None:
    shutil.copytree(QUAY, tmp_path / "quay", ignore=shutil.ignore_patterns("out"))
    found = Watcher(tmp_path / "quay" / "recipe.toml", "--revision", "b")
    try:
        said = found.until_watching()
    finally:
        found.end()
    assert f"built {tmp_path / 'quay' / 'out' / 'b'}" in said.replace("\n", "")
    assert not (tmp_path / "quay" / "out" / "a").exists()


@pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise on Windows")
def test_a_record_of_burned_chips_is_built_into_the_pages(watcher: Watcher, tmp_path: Path) -> None:
    recipe = tmp_path / "lantern" / "recipe.toml"
    assert "to burn: picture" in watcher.until_watching()
    subprocess.run([sys.executable, "-m", "ladderlight", "burned", "--quiet", str(recipe)], check=True)
    assert "to burn: nothing" in watcher.until_watching()
