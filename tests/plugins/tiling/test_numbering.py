"""Numbers that stay."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ladderlight_stages.tiling.unique_tiles import stable_numbers


def hashes(number, seed=0):
    return np.random.default_rng(seed).integers(0, 2**64, number, dtype=np.uint64)


@given(st.integers(1, 80), st.integers(0, 30), st.integers(0, 999))
def test_each_tile_gets_a_number_of_its_own(tiles, spare, first):
    numbers = np.arange(first, first + tiles + spare)
    given_numbers = stable_numbers(hashes(tiles), np.ones(tiles, dtype=np.int64), numbers)
    assert len(set(given_numbers.tolist())) == tiles
    assert set(given_numbers.tolist()) <= set(numbers.tolist())


def test_the_order_of_the_tiles_does_not_matter():
    tiles, uses = hashes(200), np.random.default_rng(1).integers(1, 50, 200)
    order = np.random.default_rng(2).permutation(200)
    numbers = stable_numbers(tiles, uses, np.arange(256))
    assert np.array_equal(stable_numbers(tiles[order], uses[order], np.arange(256)), numbers[order])


def test_a_change_moves_few_tiles_even_when_all_numbers_are_taken():
    """About the logarithm of 256 (5.5) tiles move; numbering by sorted content would move about a third of them."""
    moved, moved_by_order = [], []
    for seed in range(60):
        before = hashes(256, seed)
        after = before.copy()
        after[0] = hashes(1, seed + 1000)[0]
        uses = np.ones(256, dtype=np.int64)
        same = stable_numbers(before, uses, np.arange(256)) == stable_numbers(after, uses, np.arange(256))
        moved.append(np.count_nonzero(~same[1:]))
        ranks = np.argsort(np.argsort(before)) == np.argsort(np.argsort(after))
        moved_by_order.append(np.count_nonzero(~ranks[1:]))
    assert np.mean(moved) < 10
    assert np.mean(moved_by_order) > 50


def test_tiles_used_most_keep_their_numbers():
    tiles = hashes(256)
    uses = np.ones(256, dtype=np.int64)
    uses[:32] = 1000
    numbers = stable_numbers(tiles, uses, np.arange(256))
    for seed in range(20):
        other = np.concatenate([tiles[:32], hashes(224, seed + 1)])
        assert np.array_equal(stable_numbers(other, uses, np.arange(256))[:32], numbers[:32])
