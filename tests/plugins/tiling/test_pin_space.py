"""Sums modulo two."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ladderlight_stages.tiling.tile_wiring import common, differences, space_of

SETS = st.lists(st.integers(0, 255), max_size=6)


def sums(sets):
    """All sums, by trying every choice."""
    found = {0}
    for pins in sets:
        found |= {pins ^ other for other in found}
    return found


@given(SETS, st.integers(0, 255))
def test_coordinates_name_the_sum_and_what_is_left(sets, pins):
    space = space_of(sets)
    assert set(space.pins(np.arange(len(space))).tolist()) == sums(sets)
    coordinates, left = space.coordinates(np.array([pins]))
    assert int(space.pins(coordinates)[0]) ^ int(left[0]) == pins
    assert (pins in space) == (pins in sums(sets)) == (left[0] == 0)
    assert [sets[index] for index in space.picked] == list(space.basis)


@given(SETS, st.integers(0, 255), st.integers(0, 255))
def test_what_is_left_is_the_same_for_all_that_differ_by_a_sum(sets, one, other):
    _, left = space_of(sets).coordinates(np.array([one, other]))
    assert (left[0] == left[1]) == (one ^ other in sums(sets))


@given(SETS, SETS)
def test_common_sums(one, other):
    assert sums(common(space_of(one), space_of(other))) == sums(one) & sums(other)


@given(SETS)
def test_differences_span_the_sets(sets):
    assert sums(differences(np.array(sets, dtype=np.int64))) == sums(sets)
