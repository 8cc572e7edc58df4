"""Whites, and colours between them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ladderlight.colour.adaptation import adaptation

D65, D50 = np.array([0.95047, 1.0, 1.08883]), np.array([0.96422, 1.0, 0.82521])
ROOT = Path(__file__).parents[3]


def test_one_white_becomes_the_other() -> None:
    assert adaptation(D65, D50) @ D65 == pytest.approx(D50, abs=1e-12)
    assert adaptation(D65, D65) == pytest.approx(np.eye(3), abs=1e-12)


def test_from_d65_to_d50() -> None:
    """The matrix of the tag chad of common sRGB profiles (from memory; ICC.1:2022, annex E, gives the method)."""
    chad = [[1.04788, 0.02292, -0.05022], [0.02959, 0.99048, -0.01707], [-0.00925, 0.01508, 0.75168]]
    assert adaptation(D65, D50) == pytest.approx(np.array(chad), abs=5e-4)


def test_the_matrix_of_the_cones_stands_once() -> None:
    sources = [path for folder in ("pipeline", "plugins") for path in (ROOT / folder).rglob("*.py")]
    assert [path.name for path in sources if "0.8951" in path.read_text(encoding="utf-8")] == ["adaptation.py"]
