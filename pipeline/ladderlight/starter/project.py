"""Writing a first project."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from ladderlight.errors import UsageError
from ladderlight.paths import path_trouble
from ladderlight.starter.scenes import SCENES, draw_scene


def write_project(folder: Path) -> list[Path]:
    """Write a recipe and its pictures into a new or empty folder, and give their paths, the recipe's first.

    Raises
    ------
    UsageError
        When the folder has something in it or cannot be written.
    """
    recipe = folder / "recipe.toml"
    with path_trouble(UsageError, folder, "cannot be written", "choose another folder"):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise UsageError("is not an empty folder; choose a new one", where=folder)
        (folder / "pictures").mkdir(parents=True)
        recipe.write_text((files("ladderlight.starter") / "recipe.toml").read_text(encoding="utf-8"), encoding="utf-8")
        written = [recipe]
        for name in SCENES:
            path = folder / "pictures" / f"{name}.png"
            draw_scene(name).save(path)
            written.append(path)
    return written
