"""What is seen of a picture from a distance."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight_stages.perception.vision import FILTERS, Viewer, kernel


@pytest.mark.parametrize("density", [2.0, 5.2, 21.0, 80.0])
def test_each_filter_keeps_the_mean(density: float) -> None:
    for channel in FILTERS:
        assert sum(weight for weight, _ in channel) == pytest.approx(1.0, abs=1e-4)
        for _, degrees in channel:
            assert kernel(degrees, density).sum() == pytest.approx(1.0)


def test_a_kernel_falls_to_half_at_half_its_width() -> None:
    weights = kernel(0.5, 400.0)  # 200 pixels wide at half maximum
    middle = len(weights) // 2
    assert weights[middle + 100] / weights[middle] == pytest.approx(0.5, abs=1e-4)


def test_a_picture_is_no_different_from_itself() -> None:
    pixels = np.random.default_rng(1).random((20, 30, 3))
    assert Viewer(reference=pixels, density=(10, 10)).error(pixels).mean == 0.0


def test_a_plain_picture_stays_as_it_is_but_for_the_filters_own_sum() -> None:
    from skimage.color import xyz2lab

    from ladderlight_stages.perception.vision import XYZ_FROM_LINEAR

    plain = np.broadcast_to([0.3, 0.5, 0.2], (16, 24, 3))
    seen = Viewer(reference=plain, density=(20, 20)).lab(plain)
    np.testing.assert_allclose(seen, xyz2lab(plain @ XYZ_FROM_LINEAR.T), atol=1e-3)


def test_a_chessboard_is_seen_near_by_and_vanishes_far_away() -> None:
    board = np.repeat((np.indices((64, 64)).sum(axis=0) % 2)[..., None], 3, axis=2).astype(float)
    grey = np.full_like(board, 0.5)
    near = Viewer(reference=grey, density=(3, 3)).error(board).mean
    far = Viewer(reference=grey, density=(60, 60)).error(board).mean
    assert near > 30
    assert far < 1


def test_pixels_may_be_taller_than_wide() -> None:
    stripes = np.repeat((np.indices((60, 60))[1] % 2)[..., None], 3, axis=2).astype(float)
    grey = np.full_like(stripes, 0.5)
    fine_across = Viewer(reference=grey, density=(40, 10)).error(stripes).mean
    fine_down = Viewer(reference=grey, density=(10, 40)).error(stripes).mean
    assert fine_across < fine_down / 3


def test_the_95th_percentile_tells_of_the_worst_parts() -> None:
    shown = np.full((40, 40, 3), 0.5)
    shown[:10] = 0.1
    error = Viewer(reference=np.full_like(shown, 0.5), density=(40, 40)).error(shown)
    assert error.p95 > 2 * error.mean
