"""Whatever is edited in whatever order: a build with all that is kept gives what one without anything gives."""

from __future__ import annotations

import hashlib
import random
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight import commands
from ladderlight.recipe import load
from ladderlight.recipe.watching import forget_modules
from ladderlight.stages import code
from ladderlight.workspace.build import build

from ...boards import COLOURS

RECIPE = """
format = 1
plugins = ["lantern.py"]
[project]
name = "Merrowhithe pilot station"
{board}
[pictures]
files = [{files}]
cards = [{cards}]
{trays}
[[stage]]
use = "crop"
[[stage]]
use = "lift"
amount = {amount}
[[stage]]
use = "resize"
method = "{method}"
[[stage]]
use = "{reduction}"
[[stage]]
use = "stamp"
[[stage]]
use = "{arrangement}"
[[stage]]
use = "binary"
[[picture]]
match = "quay*"
lift = {{ amount = {night} }}
"""
PLUGIN = """
from dataclasses import replace
import numpy as np
from ladderlight import Board, CodedPicture, Picture, Survey, stage

@stage(help="Lifts by what the pictures have in common.", survey=lambda board, options: lambda p: [p.pixels.max()])
def lift(picture: Picture, survey: Survey, *, amount: float = 0.1) -> Picture:
    from merrowhithe_curve import GAIN
    light = picture.pixels * np.float32(GAIN) + np.float32(amount * min(survey.total))
    return picture.with_pixels(np.clip(light, 0, 1))

@stage(help="Marks a corner with a code of the board.")
def stamp(picture: CodedPicture, board: Board) -> CodedPicture:
    codes = picture.codes.copy()
    codes[0, 0] = board.palette.black_code ^ {mark}
    return replace(picture, codes=codes).with_notes({{"called": picture.origin.name}})
"""
HELPER = "GAIN = {gain}\n"
SEEDS = 3


class Project:
    """A recipe with pictures and a plugin, all of which can be edited."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.random = folder, random.Random(seed)
        self.colours = np.random.default_rng(seed)
        self.choices = {
            "part": "27C512",
            "red": "470",
            "amount": 0.1,
            "method": "area",
            "reduction": "diffuse",
            "arrangement": "bank_pictures",
            "night": 0.2,
            "per_tray": 3,
            "cards": '"addresses"',
        }
        self.code = {"mark": 0, "gain": 0.9}
        self.files = ["quay.png", "mole.png", "buoy.png", "blink.gif"]
        for name in self.files:
            self.paint(name)
        self.write()

    def paint(self, name: str) -> None:
        """A ramp with a rectangle somewhere, of the board's size or larger; an animation has three such frames."""
        width, height = self.random.choice([(20, 15), (60, 40), (33, 47)])
        frames = []
        for _ in range(3 if name.endswith(".gif") else 1):
            pixels = np.tile(np.linspace(0, 255, width).astype(np.uint8)[None, :, None], (height, 1, 3))
            top, left = self.random.randrange(height - 5), self.random.randrange(width - 5)
            pixels[top : top + 5, left : left + 5] = self.colours.integers(0, 256, 3)
            frames.append(Image.fromarray(pixels))
        more = {"save_all": True, "append_images": frames[1:], "duration": 100} if frames[1:] else {}
        frames[0].save(self.folder / name, **more)

    def write(self) -> None:
        files = ", ".join(f'"{name}"' for name in self.files)
        size = 16 if self.choices["arrangement"] == "frames" else self.choices["per_tray"]  # an animation is not dealt
        trays = f"per_tray = {size}" if self.choices["per_tray"] else ""
        board = COLOURS.replace("27C512", self.choices["part"]).replace('r0 = "470"', f'r0 = "{self.choices["red"]}"')
        (self.folder / "recipe.toml").write_text(RECIPE.format(board=board, files=files, trays=trays, **self.choices))
        (self.folder / "lantern.py").write_text(PLUGIN.format(mark=self.code["mark"]))
        (self.folder / "merrowhithe_curve.py").write_text(HELPER.format(gain=self.code["gain"]))

    def edits(self, monkeypatch: pytest.MonkeyPatch) -> dict[str, Callable[[], object]]:
        """The kinds of edit."""
        return {
            "picture": lambda: self.paint(self.random.choice(self.files)),
            "swap": self.swap,
            "order": lambda: self.random.shuffle(self.files),
            "left out": lambda: len(self.files) > 2 and self.files.pop(),
            "new": lambda: self.add(f"new-{self.random.randrange(3)}.png"),
            "amount": lambda: self.choices.update(amount=self.random.choice([0.0, 0.1, 0.3])),
            "night": lambda: self.choices.update(night=self.random.choice([0.0, 0.2, 0.4])),
            "method": lambda: self.choices.update(method=self.random.choice(["area", "lanczos"])),
            "reduction": lambda: self.choices.update(reduction=self.random.choice(["diffuse", "nearest", "ordered"])),
            "arrangement": lambda: self.choices.update(arrangement=self.random.choice(["frames", "bank_pictures"])),
            "resistor": lambda: self.choices.update(red=self.random.choice(["470", "430", "1k"])),
            "trays": lambda: self.choices.update(per_tray=self.random.choice([0, 3, 4])),
            "part": lambda: self.choices.update(part=self.random.choice(["27C512", "27C010"])),
            "plugin": lambda: self.code.update(mark=self.random.randrange(3)),
            "helper module": lambda: self.code.update(gain=self.random.choice([0.8, 0.9, 1.0])),
            "version": lambda: self.install(monkeypatch, self.random.randrange(3)),
            "cards": lambda: self.choices.update(cards=self.random.choice(["", '"addresses"', '"addresses", "bars"'])),
            "touched": lambda: [path.touch() for path in self.made],
            "of the user": lambda: self.random.choice(self.made).with_name("notes.txt").write_text("mine"),
            "nothing": lambda: time.sleep(0.1),
        }

    @property
    def made(self) -> list[Path]:
        """The files that the last build made for programmers and proof."""
        return [path for part in ("devices", "proof") for path in sorted(self.folder.glob(f"out/{part}/**/*.*"))]

    def swap(self) -> None:
        one, other = (self.folder / name for name in self.random.sample([n for n in self.files if "png" in n], 2))
        held = one.read_bytes()
        one.write_bytes(other.read_bytes())
        other.write_bytes(held)

    def add(self, name: str) -> None:
        self.paint(name)
        self.files = [*[file for file in self.files if file != name], name]

    def install(self, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
        """As if another version of Ladderlight were installed."""
        monkeypatch.setattr("ladderlight.__version__", f"0.1.{number}")
        code._engine.cache_clear()


def files_of(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and ".ladderlight" not in path.parts and path.name != "notes.txt"
    }


@pytest.fixture(autouse=True)
def version_of_today() -> Iterator[None]:
    """Forget the digest of a version that a test has installed."""
    yield
    code._engine.cache_clear()


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_build_with_all_that_is_kept_is_the_build_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    monkeypatch.syspath_prepend(str(tmp_path / "project"))
    monkeypatch.setattr("sys.dont_write_bytecode", True)
    (tmp_path / "project").mkdir()
    project = Project(tmp_path / "project", seed)
    recipe = project.folder / "recipe.toml"
    edits = project.edits(monkeypatch)
    kinds = random.Random(SEEDS).sample(list(edits), len(edits))[seed::SEEDS]  # each kind has its turn in one of them
    made = ["as it was"]
    for kind in (*kinds, *project.random.choices(list(edits), k=2), None):
        forget_modules([project.folder / "merrowhithe_curve.py"])
        assert commands.main(["build", "--quiet", str(recipe)]) == 0
        forget_modules([project.folder / "merrowhithe_curve.py"])
        # In one folder, so that both proofs have the same builds before them.
        full = build(replace(load(recipe), output=tmp_path / "full"), cached=False)
        assert files_of(project.folder / "out") == files_of(full.output), made
        if kind is not None:
            edits[kind]()
            made.append(kind)
            if kind != "nothing":
                project.write()
