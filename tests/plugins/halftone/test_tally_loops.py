"""Counts over codes, against NumPy's."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight_stages.halftone.tally_loops import count_colours


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (3, 5), (40, 30)])
@pytest.mark.parametrize("count", [1, 63, 64, 65, 256, 1 << 16])
def test_colours_are_counted_once_whatever_their_codes(shape: tuple[int, int], count: int) -> None:
    rng = np.random.default_rng(count)
    codes = rng.integers(0, count, shape).astype(np.uint16)
    codes[-1, -1] = count - 1
    places = rng.integers(0, (count + 1) // 2, count).astype(np.int32)
    assert count_colours(codes, places) == len(np.unique(places[codes]))
