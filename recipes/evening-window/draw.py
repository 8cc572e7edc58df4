"""Make the pictures of the evening window: the sun goes down over the sea of Merrowhithe, in eight frames.

python draw.py
"""

from pathlib import Path

import numpy as np
from PIL import Image

HERE = Path(__file__).parent
SIZE = (160, 120)
SCALE = 3
FRAMES = 8
HORIZON = 84
DAY = [(0.0, (60, 110, 190)), (0.5, (150, 180, 220)), (0.7, (255, 230, 170))]
DUSK = [(0.0, (14, 16, 48)), (0.5, (110, 44, 90)), (0.7, (226, 96, 50))]


def frame(share: float) -> Image.Image:
    """Draw sky, sun and sea, three times too large, and reduce; ``share`` of the evening is over."""
    y, x = np.mgrid[: SIZE[1] * SCALE, : SIZE[0] * SCALE] / SCALE
    height = y / SIZE[1]
    places = [place for place, _ in DAY]
    colours = [
        (1 - share) * np.array(day) + share * np.array(dusk) for (_, day), (_, dusk) in zip(DAY, DUSK, strict=True)
    ]
    picture = np.stack([np.interp(height, places, [colour[gun] for colour in colours]) for gun in range(3)], axis=-1)
    centre = 34 + 58 * share
    away = np.hypot(x - 70, y - centre)
    picture += np.exp(-((away / 30) ** 2))[:, :, None] * np.array([80, 60, 10])
    picture[away < 10] = (255, 250 - 90 * share, 200 - 120 * share)
    sea = y > HORIZON
    rows = np.clip((2 * HORIZON - y) * SCALE, 0, SIZE[1] * SCALE - 1).astype(int)
    ripple = 0.6 + 0.16 * np.sin(np.sqrt(np.maximum(y - HORIZON, 0)) * 8 + 0.6 * np.sin(x / 4 + y))
    picture[sea] = (picture[rows, (x * SCALE).astype(int)] * ripple[:, :, None] * np.array([0.8, 0.9, 1.05]))[sea]
    shore = y > 104 + 5 * np.sin(x / 23) + 3 * np.sin(x / 7 + 1)
    picture[shore] = (30, 26, 34)
    return Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)).resize(SIZE, Image.Resampling.LANCZOS)


if __name__ == "__main__":
    first, *others = [frame(number / (FRAMES - 1)) for number in range(FRAMES)]
    target = HERE / "pictures" / "evening.png"
    first.save(target, save_all=True, append_images=others, duration=2000, loop=0, optimize=True)
