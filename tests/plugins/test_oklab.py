"""OKLab."""

from __future__ import annotations

import numpy as np

from ladderlight_stages.oklab import oklab_from_linear


def test_white_and_black_lie_on_the_axis() -> None:
    np.testing.assert_allclose(oklab_from_linear(np.array([[1.0, 1, 1], [0, 0, 0]])), [[1, 0, 0], [0, 0, 0]], atol=1e-6)
