"""Adaptive contrast."""

from __future__ import annotations

import numpy as np
from skimage import data

from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.pictures.adapt_contrast import adapt_contrast


def test_flat_parts_gain_contrast(picture):
    photograph = linear_from_srgb(data.astronaut()[:240, :320] / 255 * 0.3 + 0.35)
    source = picture(photograph)
    result = adapt_contrast(source, strength=1.0, limit=0.05)

    def spread(pixels: np.ndarray) -> float:
        blocks = srgb_from_linear(pixels[..., 1]).reshape(6, 40, 8, 40)
        return float(blocks.std(axis=(1, 3)).mean())

    assert spread(result.pixels) > 1.2 * spread(source.pixels)
    half = adapt_contrast(source, strength=0.5, limit=0.05)
    assert spread(source.pixels) < spread(half.pixels) < spread(result.pixels)


def test_colours_stay(picture):
    source = picture(linear_from_srgb(data.chelsea()[:200, :200] / 255))
    result = adapt_contrast(source).pixels
    before, after = (p / p.sum(axis=2, keepdims=True) for p in (source.pixels + 1e-9, result + 1e-9))
    unclipped = result.max(axis=2) < 0.999
    np.testing.assert_allclose(after[unclipped], before[unclipped], atol=1e-3)
    assert result.min() >= 0
    assert result.max() <= 1


def test_plain_pictures_and_nothing_to_do(picture):
    plain = picture(np.full((40, 40, 3), 0.3))
    assert adapt_contrast(plain) is plain
    source = picture(size=(40, 30))
    assert adapt_contrast(source, strength=0) is source
    line = picture(size=(40, 1))
    assert adapt_contrast(line) is line


def test_the_same_twice(picture):
    source = picture(size=(64, 48))
    np.testing.assert_array_equal(adapt_contrast(source).pixels, adapt_contrast(source).pixels)


def test_tiny_pictures(picture):
    assert adapt_contrast(picture(size=(3, 2)), areas=64).pixels.shape == (2, 3, 3)
