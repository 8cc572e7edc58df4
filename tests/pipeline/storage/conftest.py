"""A project whose build is a handful of small files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from ladderlight.storage.output import staged_output
from ladderlight.storage.record import Owner

FILES = (
    "devices/picture.bin",
    "devices/left/map.bin",
    "proof/index.html",
    "proof/screens/bank0.png",
    "burn-sheet.txt",
    "manifest.json",
)
NOTES = {"notes.txt": "mine", "devices/notes.txt": "mine", "devices/left/read/first.bin": "mine"}
"""Files of the user in the output folder."""


@dataclass
class Project:
    """A recipe's output folder, built without a recipe."""

    folder: Path
    recipe: str = "recipe.toml"

    @property
    def out(self) -> Path:
        return self.folder / "out"

    @property
    def owner(self) -> Owner:
        return Owner(recipe=self.folder / self.recipe, project="Merrowhithe lobby")

    def build(self, text: str, *files: str) -> None:
        """Build with a text in every file, or as the digits of the device files."""
        with staged_output(self.out, self.owner) as new:
            for name in files or FILES:
                (new / name).parent.mkdir(parents=True, exist_ok=True)
                (new / name).write_bytes(text.encode())

    def put(self, files: dict[str, str]) -> None:
        """Put files of the user into the output folder."""
        for name, text in files.items():
            (self.out / name).parent.mkdir(parents=True, exist_ok=True)
            (self.out / name).write_text(text)

    def state(self) -> dict[str, str]:
        """Every file in the output folder that anybody looks at."""
        return _texts(self.out, lambda name: not name.startswith(".ladderlight/"))

    def private(self) -> set[str]:
        """What is ours alone, locks left out: they stay, and are empty."""
        return {path.name for path in (self.out / ".ladderlight").iterdir() if path.suffix != ".lock"}


def _texts(folder: Path, wanted: Callable[[str], bool]) -> dict[str, str]:
    found = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    return {name: path.read_text() for name, path in found.items() if wanted(name)}


def whole(text: str, *files: str) -> dict[str, str]:
    """The state after a build."""
    return dict.fromkeys(files or FILES, text)


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """A project that has not been built."""
    return Project(folder=tmp_path)
