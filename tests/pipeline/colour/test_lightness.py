"""Lightness, against ISO/CIE 11664-4."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight.colour.lightness import lightness_of, luminance_of


def test_lightness_there_and_back() -> None:
    lightness = np.linspace(-20, 150, 500)
    assert lightness_of(luminance_of(lightness)) == pytest.approx(lightness, abs=1e-9)


def test_lightness_of_middle_grey() -> None:
    assert lightness_of(np.array([0.0, 0.008856451679, 0.18418651851, 1.0])) == pytest.approx([0, 8, 50, 100], abs=1e-6)
