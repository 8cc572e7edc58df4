"""Resampling: weights and symmetry; values are compared with Pillow's in test_resize."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight_stages.resampling.resampling import resampled

METHODS = ["lanczos", "area", "bicubic", "bilinear", "nearest"]


@pytest.mark.parametrize("method", METHODS)
def test_mirroring_and_resampling_can_change_places(method):
    pixels = np.random.default_rng(1).random((31, 47, 3), dtype=np.float32)
    one = resampled(pixels[::-1, ::-1], 20, 13, method)[::-1, ::-1]
    np.testing.assert_allclose(one, resampled(pixels, 20, 13, method), atol=1e-6)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("size", [(1, 1), (7, 5), (200, 90)])
def test_light_is_kept(method, size):
    result = resampled(np.full((33, 21, 3), 0.3, dtype=np.float32), *size, method)
    assert result.shape == (size[1], size[0], 3)
    np.testing.assert_allclose(result, 0.3, rtol=1e-6)


@pytest.mark.parametrize("method", METHODS)
def test_the_same_size_is_the_same_picture(method):
    pixels = np.random.default_rng(2).random((9, 12, 3), dtype=np.float32)
    np.testing.assert_allclose(resampled(pixels, 12, 9, method), pixels, atol=1e-7)


def test_area_keeps_the_mean_whatever_the_sizes():
    pixels = np.random.default_rng(3).random((101, 77, 3))
    for size in ((13, 17), (76, 100), (77, 101), (200, 300)):
        result = resampled(pixels.astype(np.float32), *size, "area")
        np.testing.assert_allclose(result.mean(axis=(0, 1), dtype=np.float64), pixels.mean(axis=(0, 1)), atol=1e-6)


def test_a_ramp_stays_a_ramp():
    ramp = np.repeat(np.linspace(0, 1, 160, dtype=np.float32)[np.newaxis, :, np.newaxis], 3, axis=2).repeat(8, axis=0)
    expected = np.interp((np.arange(40) + 0.5) * 4 - 0.5, np.arange(160), ramp[0, :, 0])
    for method in ("lanczos", "area", "bicubic", "bilinear"):
        np.testing.assert_allclose(resampled(ramp, 40, 8, method)[4, 3:-3, 0], expected[3:-3], atol=1e-4)
