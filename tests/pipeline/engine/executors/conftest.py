"""A recipe with all that another process has to be given, and processes of a cluster."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cached_property
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.cache.folder import VARIABLE
from ladderlight.recipe import Recipe, load

from ....boards import COLOURS

RECIPE = f"""
format = 1
plugins = ["lantern.py"]
[project]
name = "Merrowhithe breakwater"
{COLOURS}
[pictures]
files = ["*.png", "*.gif"]
[[stage]]
use = "lift"
[[stage]]
use = "resize"
[[stage]]
use = "diffuse"
[[stage]]
use = "frames"
match = "sea-*"
first = 8
[[stage]]
use = "bank_pictures"
[[stage]]
use = "binary"
[[picture]]
match = "quay*"
lift = {{ amount = 0.3 }}
"""
PLUGIN = """
import os, signal, sys
from pathlib import Path
import numpy as np
from ladderlight import Picture, Survey, stage

sys.path.insert(0, str(Path(__file__).parent))

class Most:
    def __init__(self, light):
        self.light = light
    def __add__(self, other):
        return Most(max(self.light, other.light))

@stage(help="Lifts by what the pictures have in common.", survey=lambda board, options: lambda p: Most(p.pixels.max()))
def lift(picture: Picture, survey: Survey, *, amount: float = 0.1) -> Picture:
    from breakwater_curve import GAIN
    if picture.origin.name == "reef" and (not GATE or os.path.exists(GATE)):
        if GATE:
            os.unlink(GATE)
        os.kill(os.getpid(), signal.SIGKILL)
    light = picture.pixels * np.float32(GAIN) + np.float32(amount * survey.total.light)
    return picture.with_pixels(np.clip(light, 0, 1))

GATE = {gate!r}
"""


class Project:
    """A recipe with a plugin that has a module beside it, and a survey of a class of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(exist_ok=True)
        colours = np.random.default_rng(3)
        for name in ("quay", "mole", "buoy", "sea-1", "sea-2"):
            Image.fromarray(colours.integers(0, 256, (40, 50, 3), dtype=np.uint8)).save(folder / f"{name}.png")
        frames = [Image.fromarray(colours.integers(0, 256, (15, 20, 3), dtype=np.uint8)) for _ in range(3)]
        frames[0].save(folder / "blink.gif", save_all=True, append_images=frames[1:], duration=100)
        (folder / "recipe.toml").write_text(RECIPE)
        self.write_plugin()

    def write_plugin(self, gain: float = 0.9, gate: Path | None = None) -> None:
        """Of a file ``gate``, the first process that finds it is killed; without one, every process that takes it."""
        (self.folder / "lantern.py").write_text(PLUGIN.format(gate=str(gate or "")))
        # A length of its own for each value: bytecode is taken for that of a file by its size and whole seconds.
        (self.folder / "breakwater_curve.py").write_text(f"GAIN = {gain}\n" + "#" * round(10 * gain) + "\n")

    def add_reef(self) -> None:
        """Add the picture that kills a process."""
        (self.folder / "reef.png").write_bytes((self.folder / "quay.png").read_bytes())

    def load(self) -> Recipe:
        return load(self.folder / "recipe.toml")


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Project:
    """Another test's module of the name of the one beside the plugin is not imported in its place."""
    monkeypatch.delitem(sys.modules, "breakwater_curve", raising=False)
    monkeypatch.setattr(sys, "path", [*sys.path])
    return Project(tmp_path / "project")


class Cluster:
    """A scheduler and its workers, without anything that would start them again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file = folder / "scheduler.json"
        more = ("--port", "0", "--host", "127.0.0.1", "--dashboard-address", "127.0.0.1:0")
        self.scheduler = self._start("scheduler", *more)
        self._running = [self.scheduler]

    @cached_property
    def address(self) -> str:
        """The scheduler's address, once it is there."""
        until = time.monotonic() + 60
        while time.monotonic() < until:
            with suppress(OSError, ValueError):  # not there yet, or half written
                return str(json.loads(self._file.read_text())["address"])
            time.sleep(0.05)
        raise TimeoutError((self.folder / "log").read_text())

    def add_worker(self, name: str, **environment: str) -> subprocess.Popen[bytes]:
        """Start a worker with a cache of its own."""
        environment = {VARIABLE: str(self.folder / f"cache-{name}")} | environment
        assert self.address
        more = ("--no-nanny", "--nthreads", "1", "--name", name, "--local-directory", str(self.folder))
        self._running.append(self._start("worker", *more, **environment))
        return self._running[-1]

    def _start(self, what: str, *more: str, **environment: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", what, "--no-dashboard", "--scheduler-file", str(self._file), *more]
        log = (self.folder / "log").open("ab")
        return subprocess.Popen(command, env=os.environ | environment, stdout=log, stderr=log)

    def end(self) -> None:
        for process in reversed(self._running):
            process.kill()
            process.wait()


@pytest.fixture
def cluster(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], Cluster]]:
    """Start a scheduler without workers. On a busy machine these take long to come."""
    monkeypatch.setattr("ladderlight.engine.executors.cluster._PATIENCE", 120.0)
    started = []

    def start() -> Cluster:
        (tmp_path / "cluster").mkdir()
        started.append(Cluster(tmp_path / "cluster"))
        return started[-1]

    yield start
    for each in started:
        each.end()
