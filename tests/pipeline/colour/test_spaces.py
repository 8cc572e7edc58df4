"""Lightness, against ISO/CIE 11664-4; whites, and colours between them; OKLab."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ladderlight.colour.spaces import adaptation, lightness_of, luminance_of, oklab_from_linear, similarity_from_linear


def test_lightness_there_and_back() -> None:
    lightness = np.linspace(-20, 150, 500)
    assert lightness_of(luminance_of(lightness)) == pytest.approx(lightness, abs=1e-9)


def test_lightness_of_middle_grey() -> None:
    assert lightness_of(np.array([0.0, 0.008856451679, 0.18418651851, 1.0])) == pytest.approx([0, 8, 50, 100], abs=1e-6)


D65, D50 = np.array([0.95047, 1.0, 1.08883]), np.array([0.96422, 1.0, 0.82521])
ROOT = Path(__file__).parents[3]


def test_one_white_becomes_the_other() -> None:
    assert adaptation(D65, D50) @ D65 == pytest.approx(D50, abs=1e-12)
    assert adaptation(D65, D65) == pytest.approx(np.eye(3), abs=1e-12)


def test_from_d65_to_d50() -> None:
    """The matrix of the tag chad of common sRGB profiles (from memory; ICC.1:2022, annex E, gives the method)."""
    chad = [[1.04788, 0.02292, -0.05022], [0.02959, 0.99048, -0.01707], [-0.00925, 0.01508, 0.75168]]
    assert adaptation(D65, D50) == pytest.approx(np.array(chad), abs=5e-4)


def test_the_bradford_matrix_stands_once() -> None:
    sources = [path for folder in ("pipeline", "plugins") for path in (ROOT / folder).rglob("*.py")]
    assert [path.name for path in sources if "0.8951" in path.read_text(encoding="utf-8")] == ["spaces.py"]


def test_white_and_black_lie_on_the_axis() -> None:
    np.testing.assert_allclose(oklab_from_linear(np.array([[1.0, 1, 1], [0, 0, 0]])), [[1, 0, 0], [0, 0, 0]], atol=1e-6)


def test_likeness_has_cielabs_lightness() -> None:
    """CIELAB's L* of greys, from its definition (CIE 15)."""
    light = np.array([0.0, 0.01, 0.05, 0.1, 0.184, 0.5, 1.0])
    lightness = np.where(light > 216 / 24389, 116 * np.cbrt(light) - 16, light * 24389 / 27) / 100
    greys = np.repeat(light[:, None], 3, axis=1)
    np.testing.assert_allclose(similarity_from_linear(greys)[:, 0], lightness, atol=1e-6)
    np.testing.assert_allclose(similarity_from_linear(greys)[:, 1:], 0.0, atol=1e-6)
