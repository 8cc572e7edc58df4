"""The grid of nearest colours."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight_stages.reductions.grid import make_grid, nearest_members


@pytest.mark.parametrize("count", [1, 2, 17, 256, 3000])
def test_the_nearest_is_the_nearest_of_all(count: int) -> None:
    rng = np.random.default_rng(count)
    colours = (rng.random((count, 3)) ** 2).astype(np.float32)
    grid = make_grid(colours, np.full(3, -0.25), np.full(3, 1.25))
    points = (rng.random((2000, 3)) * 1.5 - 0.25).astype(np.float32)
    found = nearest_members(points, colours, grid.box, grid.size, grid.starts, grid.members)
    gaps = np.linalg.norm(points[:, None].astype(float) - colours, axis=-1)
    np.testing.assert_allclose(gaps[np.arange(len(points)), found], gaps.min(axis=1), atol=1e-6)


def test_cells_hold_few_colours() -> None:
    colours = np.random.default_rng(1).random((256, 3)).astype(np.float32)
    grid = make_grid(colours, np.zeros(3), np.ones(3))
    assert np.diff(grid.starts).min() >= 1
    assert len(grid.members) / grid.size**3 < 5


def test_of_equal_distances_the_lowest_wins() -> None:
    colours = np.array([[0.75, 0.5, 0.5], [0.25, 0.5, 0.5]], dtype=np.float32)
    grid = make_grid(colours, np.zeros(3), np.ones(3))
    middle = np.array([[0.5, 0.3, 0.9]], dtype=np.float32)
    assert nearest_members(middle, colours, grid.box, grid.size, grid.starts, grid.members)[0] == 0
