"""The grid of nearest colours."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight_stages.halftone.grid import make_grid, nearest_members


@pytest.mark.parametrize("count", [1, 2, 17, 256, 3000])
def test_the_nearest_is_the_nearest_of_all(count: int) -> None:
    rng = np.random.default_rng(count)
    colours = (rng.random((count, 3)) ** 2).astype(np.float32)
    grid = make_grid(colours, np.eye(3), np.linspace([-0.25] * 3, [1.25] * 3, 33, axis=1))
    low, scale = np.full(3, -0.25, dtype=np.float32), np.full(3, 32 / 1.5, dtype=np.float32)
    points = (rng.random((2000, 3)) * 1.5 - 0.25).astype(np.float32)
    found = nearest_members(points, colours, low, scale, grid)
    gaps = np.linalg.norm(points[:, None].astype(float) - colours, axis=-1)
    np.testing.assert_allclose(gaps[np.arange(len(points)), found], gaps.min(axis=1), atol=1e-6)


def test_cells_hold_few_colours() -> None:
    colours = np.random.default_rng(1).random((256, 3)).astype(np.float32)
    grid = make_grid(colours, np.eye(3), np.linspace([0.0] * 3, [1.0] * 3, 33, axis=1))
    assert np.diff(grid.starts).min() >= 1
    assert len(grid.members) / grid.size**3 < 5


def test_a_cell_without_doubt_has_one_colour_and_one_that_holds_a_colour_takes_it_or_doubts() -> None:
    rng = np.random.default_rng(2)
    colours = rng.random((200, 3))
    transform = rng.random((3, 3))
    edges = np.sort(rng.random((3, 17)), axis=1)
    edges[:, 0], edges[:, -1] = 0.0, 1.0
    grid = make_grid(colours, transform, edges)
    assert ((grid.doubt == 0) == (np.diff(grid.starts) == 1)).all()
    place = [np.searchsorted(edges[axis], colours[:, axis], side="right") - 1 for axis in range(3)]
    cell = (place[0] * 16 + place[1]) * 16 + place[2]
    own = grid.central[cell] == np.arange(200)
    assert (own | (grid.doubt[cell] >= 0.5)).all()


def test_the_nearest_through_a_transform_is_in_the_list() -> None:
    rng = np.random.default_rng(3)
    colours, transform = rng.random((100, 3)), rng.normal(size=(3, 3))
    grid = make_grid(colours, transform, np.linspace([0.0] * 3, [1.0] * 3, 17, axis=1))
    points = rng.random((3000, 3))
    nearest = np.linalg.norm((points[:, None] - colours) @ transform.T, axis=-1).argmin(axis=1)
    place = (points * 16).astype(int)
    cells = (place[:, 0] * 16 + place[:, 1]) * 16 + place[:, 2]
    for cell, best in zip(cells, nearest, strict=True):
        assert best in grid.members[grid.starts[cell] : grid.starts[cell + 1]]


def test_of_equal_distances_the_lowest_wins() -> None:
    colours = np.array([[0.75, 0.5, 0.5], [0.25, 0.5, 0.5]], dtype=np.float32)
    grid = make_grid(colours, np.eye(3), np.linspace([0.0] * 3, [1.0] * 3, 33, axis=1))
    middle = np.array([[0.5, 0.3, 0.9]], dtype=np.float32)
    low, scale = np.zeros(3, dtype=np.float32), np.full(3, 32, dtype=np.float32)
    assert nearest_members(middle, colours, low, scale, grid)[0] == 0
