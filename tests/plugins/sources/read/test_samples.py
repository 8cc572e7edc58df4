"""From samples to linear light."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import Demand
from ladderlight.board import linear_from_srgb
from ladderlight_stages.sources.read.samples import (
    Frame,
    Samples,
    block_means,
    block_side,
    held_pixels,
    light_of,
    linear_pixels,
    over_matte,
    upright,
)

MATTE = np.array([0.1, 0.2, 0.3], dtype=np.float32)


@pytest.mark.parametrize(("kind", "top"), [(np.uint8, 255), (np.uint16, 65535)])
def test_every_sample_has_its_light(kind, top):
    samples = np.arange(top + 1, dtype=kind).reshape(1, -1)
    pixels = linear_pixels(samples)
    assert pixels.shape == (1, top + 1, 3)
    np.testing.assert_allclose(pixels[0, :, 2], linear_from_srgb(np.arange(top + 1) / top), atol=6e-8)
    for count in range(1, 10):
        np.testing.assert_array_equal(linear_pixels(samples[:, -count:]), pixels[:, -count:])


def test_alpha_mixes_light():
    light = np.random.default_rng(1).random((3, 4, 3), dtype=np.float32)
    alpha = np.array([[0, 51, 102, 255]] * 3, dtype=np.uint8)
    result = over_matte(light, alpha, MATTE)
    np.testing.assert_allclose(result, light * alpha[..., None] / 255 + MATTE * (1 - alpha[..., None] / 255), atol=1e-6)
    deep = over_matte(light, alpha.astype(np.uint16) * 257, MATTE)
    np.testing.assert_allclose(deep, result, atol=1e-6)


@pytest.mark.parametrize("side", [2, 3, 7, 40])
@pytest.mark.parametrize("with_alpha", [False, True])
def test_means_of_blocks_are_means_of_light(monkeypatch, side, with_alpha):
    monkeypatch.setattr("ladderlight_stages.sources.read.samples._STRIP", 300)  # several strips
    random = np.random.default_rng(2)
    colours = random.integers(0, 256, (29, 33, 3), dtype=np.uint8)
    alpha = random.integers(0, 256, (29, 33), dtype=np.uint8) if with_alpha else None
    light = linear_pixels(colours).astype(np.float64)
    if alpha is not None:
        light = over_matte(linear_pixels(colours), alpha, MATTE).astype(np.float64)
    expected = [
        [light[y : y + side, x : x + side].mean(axis=(0, 1)) for x in range(0, 33, side)] for y in range(0, 29, side)
    ]
    np.testing.assert_allclose(block_means(colours, alpha, MATTE, side), expected, atol=1e-6)


def test_grey_blocks():
    grey = np.random.default_rng(3).integers(0, 65536, (8, 8), dtype=np.uint16)
    expected = linear_from_srgb(grey / 65535).reshape(4, 2, 4, 2).mean(axis=(1, 3))
    np.testing.assert_allclose(block_means(grey, None, MATTE, 2)[:, :, 1], expected, atol=1e-6)


@pytest.mark.parametrize(
    ("width", "height", "side"),
    [
        (160, 120, 1),
        (1279, 960, 1),
        (1280, 960, 2),
        (4000, 3000, 5),  # six would go, but five divides both
        (4001, 3001, 6),
        (2240, 1680, 2),  # 14 times 160x120: blocks of three would tear its pixels apart
        (100_000, 500, 1),
    ],
)
def test_blocks_leave_twice_the_demand(width, height, side):
    assert block_side(width, height, Demand(width=320, height=240)) == side
    assert block_side(width, height, Demand()) == 1


def test_eight_ways_up():
    samples = np.arange(6, dtype=np.uint8).reshape(2, 3)
    # Exif 2.32, tag 274; the shown picture as rows of what is stored as 012/345.
    shown = ["012 345", "210 543", "543 210", "345 012", "03 14 25", "30 41 52", "52 41 30", "25 14 03"]
    for orientation, rows in enumerate(shown, start=1):
        expected = [[int(digit) for digit in row] for row in rows.split()]
        np.testing.assert_array_equal(upright(samples, orientation), expected)


@pytest.mark.parametrize("side", [1, 7])
@pytest.mark.parametrize("orientation", [1, 6])
def test_bands_of_a_large_frame_join_without_a_seam(side, orientation):
    """1,301 rows of 997 pixels are two bands, and neither is a multiple of 7."""
    random = np.random.default_rng(5)
    colours = random.integers(0, 256, (1301, 997, 3), dtype=np.uint8)
    alpha = random.integers(0, 256, (1301, 997), dtype=np.uint8)
    matte = np.array([0.1, 0.2, 0.3], dtype=np.float32)
    asked = []

    def rows(top: int, bottom: int, profiled: bool) -> Samples:
        asked.append((top, bottom, profiled))
        return Samples(colours=colours[top:bottom], alpha=alpha[top:bottom])

    frame = Frame(width=997, height=1301, orientation=orientation, rows=rows)
    demand = Demand(width=71, height=71) if side == 7 else Demand()
    light = light_of(frame, matte, demand, profiled=False)
    whole = over_matte(linear_pixels(colours), alpha, matte)
    columns, lines = np.arange(0, 997, side), np.arange(0, 1301, side)
    sums = np.add.reduceat(np.add.reduceat(whole.astype(np.float64), lines, axis=0), columns, axis=1)
    counts = np.diff(lines, append=1301)[:, np.newaxis, np.newaxis] * np.diff(columns, append=997)[:, np.newaxis]
    means = sums / counts
    np.testing.assert_allclose(light, np.rot90(means, -1) if orientation == 6 else means, atol=1e-6)
    assert len(asked) == 2
    assert not any(profiled for _, _, profiled in asked)
    assert held_pixels(997, 1301, demand) == light.shape[0] * light.shape[1]
