"""A project whose build is a handful of small files."""

from __future__ import annotations

import os
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
        with staged_output(self.out, self.owner) as staging:
            for name in files or FILES:
                (staging.folder / name).parent.mkdir(parents=True, exist_ok=True)
                (staging.folder / name).write_bytes(text.encode())

    def put(self, files: dict[str, str]) -> None:
        """Put files of the user into the output folder."""
        for name, text in files.items():
            (self.out / name).parent.mkdir(parents=True, exist_ok=True)
            (self.out / name).write_text(text)

    def state(self) -> dict[str, str]:
        """Every file in the output folder that anybody looks at.

        The program's own folder is not entered: a build makes and removes folders there while others read.
        """
        found = {}
        for parent, folders, names in os.walk(self.out):
            folders[:] = [name for name in folders if name != ".ladderlight"]
            files = [Path(parent, name) for name in names]
            found |= {path.relative_to(self.out).as_posix(): path.read_text() for path in files}
        return found

    def private(self) -> set[str]:
        """What is ours alone, locks left out: they stay, and are empty."""
        return {path.name for path in (self.out / ".ladderlight").iterdir() if path.suffix != ".lock"}


def whole(text: str, *files: str) -> dict[str, str]:
    """The state after a build."""
    return dict.fromkeys(files or FILES, text)


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """A project that has not been built."""
    return Project(folder=tmp_path)
