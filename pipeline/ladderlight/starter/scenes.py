"""Pictures for a first project: a harbour by day, by night, and its chart.

They were drawn by this project, so they are free of anybody's rights.
"""

import io
from importlib.resources import files

from PIL import Image

SCENES = ("lighthouse", "ferry", "chart")


def scene_file(name: str) -> bytes:
    """Return one of ``SCENES`` as a PNG of 960 by 720 pixels."""
    return (files("ladderlight.starter") / "pictures" / f"{name}.png").read_bytes()


def open_scene(name: str) -> Image.Image:
    """Return one of ``SCENES``."""
    return Image.open(io.BytesIO(scene_file(name)))
