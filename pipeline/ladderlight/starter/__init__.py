"""A first project: a recipe that explains itself, and pictures to build it with."""

import io
from importlib.resources import files
from pathlib import Path

from PIL import Image

from ladderlight.errors import UsageError
from ladderlight.storage.writing import made_here
from ladderlight.system.paths import path_trouble

SCENES = ("lighthouse", "ferry", "chart")
SCHEMA = "recipe.schema.json"
"""The file that the ``#:schema`` line of the recipe names."""


def scene_file(name: str) -> bytes:
    """Return one of ``SCENES`` as a PNG of 960 by 720 pixels."""
    return (files("ladderlight.starter") / "pictures" / f"{name}.png").read_bytes()


def open_scene(name: str) -> Image.Image:
    """Return one of ``SCENES``."""
    return Image.open(io.BytesIO(scene_file(name)))


def write_project(folder: Path, *, schema: str) -> list[Path]:
    """Write recipe, schema and pictures into an empty folder and return their paths; UsageError where that fails."""
    with path_trouble(UsageError, folder, "cannot be written", "choose another folder"), made_here() as made:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise UsageError("is not an empty folder; choose a new one", where=folder)
        made.folder(folder / "pictures")
        recipe = (files("ladderlight.starter") / "recipe.toml").read_bytes()
        contents = {"recipe.toml": recipe, SCHEMA: schema.encode("utf-8")}
        contents |= {f"pictures/{name}.png": scene_file(name) for name in SCENES}
        for name, data in contents.items():
            made.file(folder / name, data)
    return [folder / name for name in contents]
