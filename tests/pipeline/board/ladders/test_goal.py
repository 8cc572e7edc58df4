"""Goals: what codes should come to, in volts and in lightness."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board.ladders.goal import Goal


def test_even_volts() -> None:
    goal = Goal(bits=2)
    assert goal.top == 3
    assert goal.targets == pytest.approx([0, 0.7 / 3, 1.4 / 3, 0.7], rel=1e-15)
    assert goal.effect(goal.targets) is goal.targets


def test_even_lightness_wants_other_volts() -> None:
    goal = Goal(bits=1, even="perceptual")
    assert goal.targets.tolist() == [0.0, 100.0]
    # L* 50 is a luminance of 0.18418652, which sRGB encodes as 0.46633.
    volts = goal.volts_for(np.array([0.0, 50.0, 100.0]))
    assert volts == pytest.approx([0, 0.7 * 0.466327, 0.7], abs=1e-6)
    assert goal.effect(volts) == pytest.approx([0, 50, 100], abs=1e-4)
