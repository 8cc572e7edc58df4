"""Which tiles stay, against the best of all choices."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from ladderlight_stages.tiling import thinning
from ladderlight_stages.tiling.thinning import coarse_points, squared_distances, thin, tile_points


def cost_of(points, uses, kept):
    return float((uses * squared_distances(points, points[list(kept)]).min(axis=1)).sum())


@pytest.mark.parametrize("most", [2, 4, 6])
def test_nearly_as_good_as_the_best_of_all_choices(most):
    """A known bound of this greedy kind is much weaker; on small random sets it is within 15 % in the mean."""
    ratios = []
    for seed in range(15):
        random = np.random.default_rng(seed)
        points = random.normal(size=(10, 3)).astype(np.float32)
        uses = random.integers(1, 20, 10)
        best = min(cost_of(points, uses, kept) for kept in combinations(range(10), most))
        thinned = thin(points[None], uses, most)
        assert len(thinned.kept) == most
        ratios.append(cost_of(points, uses, thinned.kept) / best)
    assert min(ratios) >= 1 - 1e-5
    assert np.mean(ratios) < 1.15


def test_the_loss_is_the_distance_to_what_is_shown():
    points = np.random.default_rng(0).normal(size=(30, 4)).astype(np.float32)
    thinned = thin(points[None], np.ones(30, dtype=np.int64), 7)
    shown = points[thinned.kept[thinned.stand_in]]
    assert thinned.loss == pytest.approx(((points - shown) ** 2).sum(axis=1), abs=1e-5)
    assert np.array_equal(thinned.stand_in[thinned.kept], np.arange(7))


def test_use_weighs():
    points = np.array([[0.0], [1.0], [10.0], [11.0]], dtype=np.float32)
    thinned = thin(points[None], np.array([1, 100, 100, 1]), 2)
    assert list(thinned.kept) == [1, 2]


def test_a_mirrored_tile_is_a_near_one():
    upright = np.array([[0.0, 5.0], [9.0, 9.0], [5.1, 0.0]], dtype=np.float32)
    thinned = thin(np.stack([upright, upright[:, ::-1]]), np.array([3, 3, 1]), 2)
    assert list(thinned.kept) == [0, 1]
    assert thinned.stand_in[2] == 0
    assert thinned.turn[2] == 1
    assert thinned.loss[2] == pytest.approx(0.01, abs=1e-5)


def test_few_enough_are_left_alone():
    thinned = thin(np.zeros((1, 3, 1), dtype=np.float32), np.ones(3, dtype=np.int64), 3)
    assert list(thinned.kept) == [0, 1, 2]
    assert not thinned.loss.any()


def test_better_than_keeping_those_used_most():
    ratios = []
    for seed in range(5):
        random = np.random.default_rng(seed)
        points = random.normal(size=(300, 6)).astype(np.float32)
        uses = np.maximum(1, random.pareto(1, 300) * 3).astype(np.int64)
        kept = thin(points[None], uses, 60).kept
        ratios.append(cost_of(points, uses, kept) / cost_of(points, uses, np.argsort(-uses, kind="stable")[:60]))
    assert max(ratios) < 1
    assert np.mean(ratios) < 0.9


def test_a_tile_drawn_anew_changes_few_choices():
    random = np.random.default_rng(8)
    points = random.normal(size=(800, 6)).astype(np.float32)
    uses = random.integers(1, 9, 800)
    before = set(thin(points[None], uses, 100).kept.tolist())
    differ = []
    for seed in range(10):
        other = points.copy()
        other[seed * 70] = np.random.default_rng(seed + 100).normal(size=6)
        differ.append(len(before ^ set(thin(other[None], uses, 100).kept.tolist())))
    assert np.median(differ) <= 10


def test_coarse_points_of_flat_tiles_are_their_colours(board):
    flat = np.array([[0] * 64, [len(board.palette) - 1] * 64], dtype=np.uint16)
    fine = squared_distances(*[tile_points(flat, board.palette, (1, 8, 8))] * 2)
    coarse = squared_distances(*[coarse_points(flat, board.palette, (1, 8, 8))] * 2)
    assert coarse_points(flat, board.palette, (1, 8, 8)).shape == (2, 16 * 3)
    assert coarse == pytest.approx(fine, rel=1e-3, abs=1e-6)
    assert coarse_points(flat[:, :1], board.palette, (1, 1, 1)).shape == (2, 3)


def test_in_parts_it_is_hardly_worse(monkeypatch):
    random = np.random.default_rng(4)
    points = random.normal(size=(1200, 8)).astype(np.float32)
    uses = random.integers(1, 9, 1200)
    monkeypatch.setattr(thinning, "FINE", 200)
    whole = cost_of(points, uses, thin(points[None], uses, 60).kept)
    monkeypatch.setattr(thinning, "_AT_ONCE", 200)
    parts = thin(points[None], uses, 60)
    assert len(parts.kept) == 60
    assert cost_of(points, uses, parts.kept) < 1.25 * whole
    assert len(thin(points[None], uses, 900).kept) == 900


@pytest.mark.parametrize("channels", [1, 3])
def test_tiles_are_taken_out_and_replaced_as_if_all_were_compared(channels):
    """Against the plain algorithm on all distances: out goes each time what makes the cost of the rest least."""
    random = np.random.default_rng(6)
    upright = random.normal(size=(60, 16, channels)).astype(np.float32)
    mirrored = upright[:, ::-1]
    uses = random.integers(1, 9, 60)
    clouds = [upright.reshape(60, -1), mirrored.reshape(60, -1)]
    distances = np.minimum(*(squared_distances(clouds[0], cloud).astype(np.float64) for cloud in clouds))
    np.fill_diagonal(distances, 0)
    left = list(range(60))
    while len(left) > 20:
        costs = [(uses * distances[:, [kept for kept in left if kept != out]].min(axis=1)).sum() for out in left]
        left.pop(int(np.argmin(costs)))
    order = thinning._sorted_by_mean(np.stack(clouds), channels)
    alive = thinning.take_out(*order[:2], uses[order[2]].astype(np.float64), 20)
    assert sorted(order[2][alive].tolist()) == left
    nearest, turn, loss = thinning.nearest_kept(*order[:2], alive)
    assert loss == pytest.approx(distances[:, left].min(axis=1)[order[2]], abs=1e-4)
    shown = np.stack(clouds)[turn, order[2][nearest]]
    assert ((clouds[0][order[2]] - shown) ** 2).sum(axis=1) == pytest.approx(loss, abs=1e-4)


def test_dithers_of_one_tone_are_more_alike_than_tones(board):
    """Two chequers that differ in every pixel are nearer to each other than one of them to a black tile.

    Pixel by pixel it is the other way round: every pixel differs, against every second one.
    """
    black, white = 0, len(board.palette) - 1
    chequer = np.where(np.indices((8, 8)).sum(axis=0) % 2 == 0, black, white).astype(np.uint16)
    tiles = np.stack([tile.ravel() for tile in (chequer, white - chequer, np.full((8, 8), black))]).astype(np.uint16)
    points = tile_points(tiles, board.palette, (1, 8, 8))
    distances = squared_distances(points, points)
    assert distances[0, 1] < 0.6 * distances[0, 2]
    assert np.count_nonzero(tiles[0] != tiles[1]) == 2 * np.count_nonzero(tiles[0] != tiles[2])


def test_distance_of_flat_tiles_is_that_of_their_colours(board):
    """Flat tiles have no blur: the squared distance is the squared OKLab difference (white to black: L = 1)."""
    flat = np.array([[0] * 64, [len(board.palette) - 1] * 64], dtype=np.uint16)
    points = tile_points(flat, board.palette, (1, 8, 8))
    lightness = np.cbrt(board.palette.linear[-1].mean())
    assert float(squared_distances(points, points)[0, 1]) == pytest.approx(lightness**2, rel=1e-3)
