"""Make the pictures of the survey desk: a photograph, and a chart of soundings.

    python draw.py

The photograph is ``skimage.data.chelsea()``, without copyright restrictions (CC0): the cat that watches the quay.
"""

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from skimage import data

HERE = Path(__file__).parent
SIZE = (320, 240)


def quay_cat() -> Image.Image:
    """Cut the photograph to the screen's proportions, in grey."""
    whole = Image.fromarray(data.chelsea()).convert("L")
    return whole.crop((26, 0, 426, 300)).resize(SIZE, Image.Resampling.LANCZOS)


def soundings() -> Image.Image:
    """Draw lines of equal depth around two rocks, with shading."""
    y, x = np.mgrid[: SIZE[1] * 2, : SIZE[0] * 2] / 2
    depth = 1.3 - sum(
        height * np.exp(-(((x - at_x) / wide) ** 2) - ((y - at_y) / high) ** 2)
        for at_x, at_y, wide, high, height in ((110, 120, 70, 50, 1.2), (225, 90, 45, 60, 0.9), (200, 190, 60, 25, 0.6))
    )
    grey = np.clip(0.35 + 0.5 * depth, 0, 1)
    lines = np.abs(depth * 8 - np.rint(depth * 8)) < 0.06
    picture = Image.fromarray(np.where(lines, 0, grey * 255).astype(np.uint8))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((8, 8, SIZE[0] * 2 - 9, SIZE[1] * 2 - 9), outline=0, width=4)
    draw.line((560, 440, 560, 380), fill=0, width=4)
    draw.polygon(((550, 390), (570, 390), (560, 366)), fill=0)
    return picture.resize(SIZE, Image.Resampling.LANCZOS)


if __name__ == "__main__":
    quay_cat().quantize(64).convert("L").save(HERE / "pictures" / "1-quay-cat.png", optimize=True)
    soundings().quantize(32).convert("L").save(HERE / "pictures" / "2-soundings.png", optimize=True)
