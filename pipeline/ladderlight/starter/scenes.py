"""Pictures for a first project, drawn here, so free of anybody's rights: a harbour by day, by night, and its chart."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

Colour = tuple[int, int, int]
SIZE = (960, 720)
_SCALE = 2  # drawn larger and reduced, for smooth edges


def lighthouse() -> Image.Image:
    """A lighthouse on its rock at sunset."""
    image = _sky((32, 54, 120), (255, 170, 90), horizon=0.62)
    draw = ImageDraw.Draw(image)
    width, height = image.size
    sea = int(height * 0.62)
    _sea(image, sea, (38, 70, 120), (10, 26, 60))
    draw.ellipse(_box(image, 0.20, 0.50, 0.32, 0.66), fill=(255, 226, 150))
    _sea(image, sea, (44, 74, 118), (10, 26, 60))
    draw.polygon([_at(image, *p) for p in _ROCK], fill=(40, 34, 44))
    for band in range(6):
        (top, upper), (bottom, lower) = ((0.22 + edge * 0.075, 0.030 + edge * 0.0045) for edge in (band, band + 1))
        corners = ((0.70 - upper, top), (0.70 + upper, top), (0.70 + lower, bottom), (0.70 - lower, bottom))
        colour = (214, 48, 42) if band % 2 == 0 else (244, 238, 226)
        draw.polygon([_at(image, *corner) for corner in corners], fill=colour)
    draw.rectangle(_box(image, 0.675, 0.15, 0.725, 0.22), fill=(255, 240, 160))
    draw.rectangle(_box(image, 0.660, 0.21, 0.740, 0.225), fill=(30, 30, 38))
    draw.polygon([_at(image, *p) for p in ((0.665, 0.15), (0.735, 0.15), (0.70, 0.095))], fill=(160, 30, 32))
    glow = Image.new("L", image.size)
    ImageDraw.Draw(glow).polygon([_at(image, *p) for p in ((0.68, 0.185), (-0.1, 0.02), (-0.1, 0.32))], fill=110)
    glow = glow.filter(ImageFilter.GaussianBlur(width / 60))
    image.paste(Image.new("RGB", image.size, (255, 244, 190)), mask=glow)
    return image


def ferry() -> Image.Image:
    """A ferry under a clear sky."""
    image = _sky((70, 150, 230), (214, 236, 250), horizon=0.6)
    sea = int(image.size[1] * 0.6)
    draw = ImageDraw.Draw(image)
    for x, y, size in _CLOUDS:
        draw.ellipse(_box(image, x - size / 2, y - size / 3.2, x + size / 2, y + size / 3.2), fill=(250, 252, 255))
    draw.polygon([_at(image, *p) for p in _HILLS], fill=(74, 128, 84))
    _sea(image, sea, (40, 130, 170), (12, 60, 110))
    draw.polygon([_at(image, *p) for p in ((0.18, 0.62), (0.84, 0.62), (0.78, 0.75), (0.25, 0.75))], fill=(190, 36, 40))
    draw.polygon(
        [_at(image, *p) for p in ((0.205, 0.66), (0.82, 0.66), (0.81, 0.68), (0.215, 0.68))], fill=(250, 250, 250)
    )
    draw.rectangle(_box(image, 0.26, 0.52, 0.74, 0.62), fill=(248, 246, 238))
    draw.rectangle(_box(image, 0.32, 0.43, 0.60, 0.52), fill=(236, 232, 220))
    for window in range(9):
        x = 0.285 + window * 0.05
        draw.rectangle(_box(image, x, 0.55, x + 0.03, 0.59), fill=(40, 70, 100))
    draw.rectangle(_box(image, 0.50, 0.31, 0.56, 0.43), fill=(246, 190, 50))
    draw.rectangle(_box(image, 0.50, 0.31, 0.56, 0.34), fill=(30, 30, 36))
    return image


def chart() -> Image.Image:
    """A chart of the island."""
    width, height = SIZE[0] * _SCALE, SIZE[1] * _SCALE
    y, x = np.mgrid[0:height, 0:width] / height
    angle, radius = np.arctan2(y - 0.5, x - 0.66), np.hypot((x - 0.66) * 0.8, y - 0.5)
    coast = 0.27 + 0.05 * np.sin(3 * angle + 0.7) + 0.03 * np.sin(5 * angle) + 0.012 * np.sin(11 * angle + 2)
    depth = radius - coast
    steps: list[tuple[float, Colour]] = [
        (-0.16, (122, 150, 88)), (-0.08, (170, 182, 110)), (0.0, (222, 208, 146)), (0.035, (196, 228, 232)),
        (0.09, (150, 204, 222)), (0.17, (104, 170, 206)), (9.0, (66, 132, 184)),
    ]  # fmt: skip
    index = np.searchsorted([limit for limit, _ in steps], depth)
    image = Image.fromarray(np.array([colour for _, colour in steps], dtype=np.uint8)[index])
    draw = ImageDraw.Draw(image)
    for line in range(1, 8):
        draw.line([(0, height * line // 8), (width, height * line // 8)], fill=(70, 96, 130), width=3)
        draw.line([(width * line // 8, 0), (width * line // 8, height)], fill=(70, 96, 130), width=3)
    centre_x, centre_y, arm = int(width * 0.13), int(height * 0.82), int(height * 0.11)
    for turn in range(8):
        reach = arm if turn % 2 == 0 else arm * 0.6
        tip = (centre_x + reach * np.sin(turn * np.pi / 4), centre_y - reach * np.cos(turn * np.pi / 4))
        side = [
            (
                centre_x + arm * 0.16 * np.sin((turn + s) * np.pi / 4),
                centre_y - arm * 0.16 * np.cos((turn + s) * np.pi / 4),
            )
            for s in (-1, 1)
        ]
        draw.polygon([side[0], tip, side[1]], fill=(180, 40, 40) if turn == 0 else (40, 44, 60))
    draw.ellipse((width * 0.42, height * 0.56, width * 0.445, height * 0.593), fill=(200, 30, 120))
    return image


SCENES: dict[str, Callable[[], Image.Image]] = {"lighthouse": lighthouse, "ferry": ferry, "chart": chart}

_CLOUDS = ((0.15, 0.16, 0.12), (0.24, 0.13, 0.14), (0.33, 0.17, 0.11), (0.78, 0.24, 0.10), (0.86, 0.22, 0.12))
_HILLS = (
    (0, 0.6), (0, 0.54), (0.14, 0.47), (0.30, 0.53), (0.46, 0.45), (0.64, 0.54), (0.84, 0.49), (1, 0.55), (1, 0.6),
)  # fmt: skip
_ROCK = (
    (0.50, 0.70), (0.56, 0.66), (0.62, 0.665), (0.66, 0.645), (0.76, 0.65), (0.80, 0.67), (0.88, 0.68), (0.94, 0.73),
    (0.70, 0.76),
)  # fmt: skip


def draw_scene(name: str) -> Image.Image:
    """Draw one of ``SCENES`` at ``SIZE``."""
    return SCENES[name]().resize(SIZE, Image.Resampling.LANCZOS)


def _sky(top: Colour, bottom: Colour, *, horizon: float) -> Image.Image:
    width, height = SIZE[0] * _SCALE, SIZE[1] * _SCALE
    share = np.clip(np.arange(height) / (height * horizon), 0, 1)[:, None] ** 1.3
    column = np.rint((1 - share) * np.array(top) + share * np.array(bottom)).astype(np.uint8)
    return Image.fromarray(np.repeat(column[:, None], width, axis=1))


def _sea(image: Image.Image, level: int, near: Colour, far: Colour) -> None:
    width, height = image.size
    y = (np.arange(level, height) - level)[:, None]
    share = y / (height - level)
    ripple = 10 * np.sin(y / (3 + 12 * share)) * np.sin(np.arange(width)[None] / (60 + 200 * share) + y * 0.7)
    colour = (1 - share[:, :, None]) * np.array(near) + share[:, :, None] * np.array(far) + ripple[:, :, None]
    image.paste(Image.fromarray(np.clip(colour, 0, 255).astype(np.uint8)), (0, level))


def _at(image: Image.Image, x: float, y: float) -> tuple[float, float]:
    return (x * image.size[0], y * image.size[1])


def _box(image: Image.Image, left: float, top: float, right: float, bottom: float) -> tuple[float, float, float, float]:
    return (*_at(image, left, top), *_at(image, right, bottom))
