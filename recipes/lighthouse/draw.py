"""Draw the lighthouse of Merrowhithe with its turning light: an animation of 160x120 pixels.

    python draw.py

The dark moment between two sweeps is held longer than the others, as its duration in the file says.
"""

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

HERE = Path(__file__).parent
FRAMES = 9
SCALE = 4
LAMP = (104, 40)


def scene() -> Image.Image:
    """Draw dusk, the sea, the rock and the tower, four times too large."""
    sky = np.zeros((120 * SCALE, 160 * SCALE, 3))
    fall = np.linspace(0, 1, 84 * SCALE)[:, None, None]
    sky[: 84 * SCALE] = (1 - fall) * np.array([12, 16, 48]) + fall * np.array([120, 70, 96])
    depth = np.linspace(0, 1, 36 * SCALE)[:, None, None]
    sky[84 * SCALE :] = (1 - depth) * np.array([48, 56, 96]) + depth * np.array([4, 12, 32])
    picture = Image.fromarray(sky.astype(np.uint8))
    draw = ImageDraw.Draw(picture)
    for x, y in ((14, 12), (33, 30), (52, 9), (71, 22), (88, 14), (122, 8), (139, 26), (151, 13), (24, 48), (60, 41)):
        draw.ellipse(scaled(x, y, x + 1, y + 1), fill=(230, 230, 200))
    rock = [(62, 94), (78, 84), (94, 80), (116, 80), (132, 86), (150, 95), (158, 104), (50, 104)]
    draw.polygon([(x * SCALE, y * SCALE) for x, y in rock], fill=(28, 24, 28))
    for step in range(5):
        top, bottom = 46 + 7 * step, 53 + 7 * step
        colour = (150, 36, 36) if step % 2 == 0 else (190, 184, 170)
        left, right = 100 - 0.5 * step, 108 + 0.5 * step
        corners = [(left, top), (right, top), (right + 0.5, bottom), (left - 0.5, bottom)]
        draw.polygon([(x * SCALE, y * SCALE) for x, y in corners], fill=colour)
    draw.rectangle(scaled(98, 44, 110, 46), fill=(60, 56, 60))
    draw.rectangle(scaled(101, 36, 107, 44), fill=(90, 84, 60))
    draw.polygon([(x * SCALE, y * SCALE) for x, y in ((99, 36), (109, 36), (104, 31))], fill=(100, 30, 30))
    return picture


def scaled(*numbers: float) -> list[float]:
    """Give coordinates at the larger scale."""
    return [number * SCALE for number in numbers]


def frame(number: int) -> Image.Image:
    """Draw one frame; the first is the dark one."""
    light = np.asarray(scene(), dtype=float)
    if number:
        angle = np.pi * (number / FRAMES) + np.pi
        y, x = np.mgrid[: 120 * SCALE, : 160 * SCALE] / SCALE
        dx, dy = x - LAMP[0], y - LAMP[1]
        reach = np.hypot(dx, dy)
        turned = np.angle(np.exp(1j * (np.arctan2(dy * 2.5, dx) - angle)))
        beam = np.exp(-((turned / 0.16) ** 2)) * np.exp(-reach / 110)
        beam += np.exp(-((reach / 5) ** 2)) * 0.9
        light = light + beam[:, :, None] * np.array([230, 215, 150])
    picture = Image.fromarray(np.clip(light, 0, 255).astype(np.uint8))
    return picture.resize((160, 120), Image.Resampling.LANCZOS)


if __name__ == "__main__":
    frames = [frame(number).quantize(64, dither=Image.Dither.NONE) for number in range(FRAMES)]
    frames[0].save(
        HERE / "pictures" / "light.gif",
        save_all=True,
        append_images=frames[1:],
        duration=[1040] + [130] * (FRAMES - 1),
        loop=0,
        optimize=True,
    )
