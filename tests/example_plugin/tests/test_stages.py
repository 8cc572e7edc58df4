"""Tests as the author of a plugin writes them."""

from __future__ import annotations

import numpy as np
import pytest
from harbour_lights.dusk import dusk
from harbour_lights.lamps import lamps

from ladderlight import Kept
from ladderlight.testing import RecipeError, grey_ramp, picture_of, run_stage, small_board


def test_dusk_falls_from_the_top() -> None:
    dark = run_stage(dusk, picture_of(np.ones((3, 1, 3))), depth=0.5)
    assert dark.pixels[:, 0, 0].tolist() == [0.5, 1.0, 1.0]


def test_options_that_exceed_the_picture_are_refused() -> None:
    with pytest.raises(RecipeError, match="depth and horizon exceed 1; lower one of them"):
        run_stage(dusk, grey_ramp(), depth=0.75)


def test_lamps_are_lit_in_the_right_half_and_where_they_were() -> None:
    lightest = int(small_board().palette.linear.sum(axis=1).argmax())
    codes = run_stage(lamps, grey_ramp()).codes
    assert codes[0].tolist() == [0] * 10 + [lightest] * 10
    kept = Kept(codes=np.full(codes.shape, 0, dtype=np.int32))
    assert run_stage(lamps, grey_ramp(), kept=kept).codes.max() == 0
