"""OKLab."""

from __future__ import annotations

import numpy as np

from ladderlight.colour.oklab import oklab_from_linear, similarity_from_linear


def test_white_and_black_lie_on_the_axis() -> None:
    np.testing.assert_allclose(oklab_from_linear(np.array([[1.0, 1, 1], [0, 0, 0]])), [[1, 0, 0], [0, 0, 0]], atol=1e-6)


def test_likeness_has_cielabs_lightness() -> None:
    """CIELAB's L* of greys, from its definition (CIE 15)."""
    light = np.array([0.0, 0.01, 0.05, 0.1, 0.184, 0.5, 1.0])
    lightness = np.where(light > 216 / 24389, 116 * np.cbrt(light) - 16, light * 24389 / 27) / 100
    greys = np.repeat(light[:, None], 3, axis=1)
    np.testing.assert_allclose(similarity_from_linear(greys)[:, 0], lightness, atol=1e-6)
    np.testing.assert_allclose(similarity_from_linear(greys)[:, 1:], 0.0, atol=1e-6)
