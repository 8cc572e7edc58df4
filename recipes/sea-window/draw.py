"""Make the pictures of the sea window: a sunset over the harbour, and the museum's café.

    python draw.py

The photograph of the café is ``skimage.data.coffee()``, without copyright restrictions (CC0), cut and reduced.
"""

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from skimage import data

HERE = Path(__file__).parent
SIZE = (160, 120)
SCALE = 4
STOPS = [(0.0, (24, 28, 84)), (0.35, (140, 60, 120)), (0.55, (244, 120, 70)), (0.68, (255, 214, 120))]
HORIZON = 82


def sunset() -> Image.Image:
    """Draw sky, sun, sea and a breakwater, four times too large, and reduce."""
    y, x = np.mgrid[: SIZE[1] * SCALE, : SIZE[0] * SCALE] / SCALE
    height = y / SIZE[1]
    places = [stop for stop, _ in STOPS]
    sky = np.stack([np.interp(height, places, [colour[gun] for _, colour in STOPS]) for gun in range(3)], axis=-1)
    glow = np.exp(-((np.hypot(x - 56, y - 70) / 26) ** 2))[:, :, None]
    picture = sky + glow * np.array([90, 70, 20])
    picture[np.hypot(x - 56, y - 70) < 11] = (255, 244, 190)
    sea = y > HORIZON
    mirrored = picture[np.clip((2 * HORIZON - y) * SCALE, 0, SIZE[1] * SCALE - 1).astype(int), (x * SCALE).astype(int)]
    ripple = 0.62 + 0.2 * np.sin(np.sqrt(np.maximum(y - HORIZON, 0)) * 9 + 0.6 * np.sin(x / 3 + y))
    picture[sea] = (mirrored * ripple[:, :, None] * np.array([0.8, 0.85, 1.05]))[sea]
    image = Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(image)
    quay = [(96, 86), (160, 80), (160, 98), (104, 92)]
    draw.polygon([(a * SCALE, b * SCALE) for a, b in quay], fill=(30, 24, 40))
    draw.rectangle((128 * SCALE, 62 * SCALE, 132 * SCALE, 82 * SCALE), fill=(44, 34, 52))
    draw.ellipse((127 * SCALE, 57 * SCALE, 133 * SCALE, 63 * SCALE), fill=(255, 230, 150))
    return image.resize(SIZE, Image.Resampling.LANCZOS)


def cafe() -> Image.Image:
    """Cut the photograph to the screen's proportions."""
    return Image.fromarray(data.coffee()).crop((34, 0, 567, 400)).resize((240, 180), Image.Resampling.LANCZOS)


if __name__ == "__main__":
    sunset().save(HERE / "pictures" / "1-sunset.png", optimize=True)
    cafe().save(HERE / "pictures" / "2-cafe.jpg", quality=85)
