"""Sharpening."""

from __future__ import annotations

import numpy as np
import pytest
from skimage import data
from skimage.filters import unsharp_mask

from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.pictures.sharpen import sharpen


def test_grey_agrees_with_scikit_images_unsharp_mask(picture):
    grey = data.camera()[100:260, 100:260] / 255
    source = picture(np.repeat(linear_from_srgb(grey)[:, :, np.newaxis], 3, axis=2))
    result = srgb_from_linear(sharpen(source, amount=0.8, radius=1.5).pixels)
    expected = unsharp_mask(grey, radius=1.5, amount=0.8)
    inner = (slice(8, -8), slice(8, -8))  # the two go on differently beyond the edge
    np.testing.assert_allclose(result[..., 0][inner], expected[inner], atol=2e-4)
    np.testing.assert_array_equal(result[..., 0], result[..., 2])


def test_edges_get_steeper_and_keep_their_colour(picture):
    pixels = np.empty((9, 40, 3), dtype=np.float32)
    pixels[:, :20], pixels[:, 20:] = (0.2, 0.1, 0.05), (0.4, 0.2, 0.1)
    result = sharpen(picture(pixels), amount=1.0).pixels
    assert result[4, 19, 0] < 0.2 < 0.4 < result[4, 20, 0]
    np.testing.assert_allclose(result[..., 0], result[..., 1] * 2, rtol=1e-5)
    np.testing.assert_allclose(result[:, :10], pixels[:, :10], rtol=1e-4)


def test_nothing_to_do(picture):
    source = picture(size=(8, 6))
    assert sharpen(source, amount=0) is source


@pytest.mark.parametrize("amount", [0.5, 5.0])
def test_range(picture, amount):
    result = sharpen(picture(size=(40, 30)), amount=amount).pixels
    assert result.dtype == np.float32
    assert result.min() >= 0
    assert result.max() <= 1
