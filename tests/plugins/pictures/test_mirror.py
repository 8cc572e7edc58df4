"""Mirroring."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import Demand
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.pictures.mirror import mirror


@pytest.mark.parametrize(("swap", "first"), [("left-right", (29, 0)), ("top-bottom", (0, 19)), ("both", (29, 19))])
def test_sides_change_places(picture, places, swap, first):
    source = picture(places(30, 20))
    result = mirror(source, swap=swap)
    assert tuple(np.rint(result.pixels[0, 0, :2] * 1000)) == first
    assert result.pixels.flags.c_contiguous
    np.testing.assert_array_equal(mirror(result, swap=swap).pixels, source.pixels)


def test_demand_is_the_same(board):
    demand = Demand(width=3, height=4)
    assert declaration_of(mirror).hooks["demand"](demand, board, {}) == demand
