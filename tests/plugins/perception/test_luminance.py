"""Luminance and colour apart from each other."""

from __future__ import annotations

import numpy as np

from ladderlight_stages.perception.luminance import LUMINANCE, coloured, luminance_of, relit


def test_shares_of_luminance():
    # ITU-R BT.709, item 3.2; they make white 1.
    np.testing.assert_allclose(LUMINANCE, (0.2126, 0.7152, 0.0722))
    assert float(luminance_of(np.ones((1, 1, 3), dtype=np.float32))[0, 0]) == np.float32(1)


def test_relit_pictures_have_the_luminance_and_the_hue():
    random = np.random.default_rng(2)
    pixels, light = random.random((50, 60, 3), dtype=np.float32), random.random((50, 60), dtype=np.float32)
    result = relit(pixels, light)
    np.testing.assert_allclose(luminance_of(result), light, atol=2e-6)
    scaled = pixels * (light / luminance_of(pixels))[..., None]
    fits = scaled.max(axis=2) <= 1
    assert 0.2 < fits.mean() < 1
    np.testing.assert_allclose(result[fits], scaled[fits], atol=2e-6)
    assert result.min() >= 0
    assert result.max() <= 1


def test_black_becomes_grey():
    result = relit(np.zeros((1, 2, 3), dtype=np.float32), np.array([[0.25, 0.0]], dtype=np.float32))
    np.testing.assert_array_equal(result[0], [(0.25,) * 3, (0,) * 3])


def test_colour_is_added_as_far_as_it_goes():
    grey = np.array([[0.5]], dtype=np.float32)
    chroma = np.array([[[1.0, -0.25, 0.0]]], dtype=np.float32)
    np.testing.assert_allclose(coloured(grey, chroma / 4)[0, 0], (0.75, 0.4375, 0.5))
    np.testing.assert_allclose(coloured(grey, chroma)[0, 0], (1, 0.375, 0.5))
