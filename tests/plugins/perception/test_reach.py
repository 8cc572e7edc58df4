"""What can be mixed from a board's colours, and which light lies outside."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from ladderlight import Board, Palette
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.perception.luminance import BEYOND, tolerated
from ladderlight_stages.perception.measures import clipped_pixels
from ladderlight_stages.perception.reach import nearest_in_principle, reach_cells, reach_of


@pytest.fixture
def shared(make_board, memory, ladder) -> Board:
    """A board of 16 colours: one line per gun and an intensity line that feeds all three."""
    lines = {"red": "r", "green": "g", "blue": "b"}
    channels = ladder(**{gun: {line: 715.0, "i": 1330.0} for gun, line in lines.items()})
    return make_board(memory(address=["x2-x9", "y2-y8"], data=["b", "g", "r", "i"]), ladder=channels)


def with_colours(board: Board, drive: object) -> Palette:
    """A palette of a board of shared lines whose codes have other volts."""
    return replace(board.palette, volts=np.asarray(drive, dtype=np.float64) * board.palette.peak)


def distance_to_mix(colour: np.ndarray, palette: np.ndarray) -> float:
    """Least sum of what is missing from a mean of palette colours, over the guns: by linear programming."""
    equations = np.vstack([palette.T, np.ones(len(palette))])
    slack = np.hstack([equations, np.eye(4)[:, :3], -np.eye(4)[:, :3]])
    cost = np.concatenate([np.zeros(len(palette)), np.ones(6)])
    return float(linprog(cost, A_eq=slack, b_eq=[*colour, 1]).fun)


def test_light_that_no_mean_of_colours_gives_is_outside(shared: Board) -> None:
    """Linear programming knows no faces. Light near the margin is left out: corners reach further."""
    colours = np.random.default_rng(4).random((400, 3)).astype(np.float32) * 0.9
    counted = 0
    for colour in colours:
        distance = distance_to_mix(colour, shared.palette.linear)
        if distance < 1e-6 or distance > 10 * BEYOND:
            assert clipped_pixels(colour[None, None], shared.palette) == (distance > 10 * BEYOND)
            counted += distance > 10 * BEYOND
    assert 20 < counted < 380


def test_every_gun_may_be_within_its_levels_and_the_light_outside(shared: Board) -> None:
    """Full green with no red or blue: the intensity line lights all three."""
    levels = shared.palette.linear
    green = np.array([0, 0.99 * levels[:, 1].max(), 0], dtype=np.float32)
    assert (green <= levels.max(axis=0)).all()
    assert (green >= levels.min(axis=0)).all()
    assert clipped_pixels(green[None, None], shared.palette) == 1


def test_cells_count_as_all_faces_do(shared: Board) -> None:
    rng = np.random.default_rng(5)
    pixels = np.concatenate(
        [rng.random((3000, 3)), rng.normal(0.3, 0.4, (3000, 3)), rng.choice([0, 1, 1 / 3, -0.0005], (500, 3))]
    ).astype(np.float32)
    drives = [shared.palette.drive, rng.random((16, 3)), rng.random((16, 3)) * 0.2 + 0.4]
    for palette in (with_colours(shared, drive) for drive in drives):
        reach = reach_of(palette)
        light = (pixels - reach.black) @ reach.axes.T
        light_past = light @ reach.faces[:, :3].T + reach.faces[:, 3]
        levels = palette.linear
        sides = np.maximum(pixels - levels.max(axis=0), levels.min(axis=0) - pixels)
        # how far light may have been raised by rounding to 8 bits, towards each face and each side
        light = np.clip(pixels, 0, 1)
        half = linear_from_srgb(srgb_from_linear(light) + 0.5 / 255) - light
        normals = np.abs(reach.faces[:, :3] @ reach.axes)
        allowed = np.maximum(np.concatenate([half @ normals.T, half], axis=1), BEYOND)
        past = np.concatenate([light_past, sides], axis=1) - allowed
        past = past.max(axis=1)
        sure = np.abs(past) > 2e-4
        assert sure.sum() > 6000
        counted = clipped_pixels(pixels[sure][None], palette)
        assert counted == np.count_nonzero(past[sure] > 0)
        assert 0 < counted < sure.sum()


def test_the_colours_themselves_are_inside(shared: Board) -> None:
    palette = shared.palette
    means = (palette.linear[:, None] + palette.linear) / 2
    assert clipped_pixels(palette.linear[None].astype(np.float32), palette) == 0
    assert clipped_pixels(means.astype(np.float32), palette) == 0


@pytest.mark.parametrize("seed", range(8))
def test_the_colours_as_a_file_holds_them_are_inside(shared: Board, seed: int) -> None:
    """Rounded to 8 bits. Two whole steps further out they are outside."""
    palette = with_colours(shared, np.random.default_rng(seed).random((16, 3)) * 0.8)
    assert clipped_pixels(linear_from_srgb(palette.srgb8 / 255)[None], palette) == 0
    outward = np.sign(palette.linear - palette.linear.mean(axis=0))
    corners = np.unique(np.concatenate([palette.linear.argmax(axis=0), palette.linear.argmin(axis=0)]))
    further = linear_from_srgb(np.clip(srgb_from_linear(palette.linear) + outward * 2 / 255, 0, 1))[corners]
    assert clipped_pixels(further[None].astype(np.float32), palette) == len(corners)


@pytest.mark.parametrize("dimensions", [0, 1, 2])
def test_flat_hulls_are_judged_gun_by_gun(shared: Board, dimensions: int) -> None:
    rng = np.random.default_rng(6)
    levels = np.zeros((16, 3))
    levels[:, :dimensions] = rng.random((16, dimensions)) * 0.8
    levels[:, 2] = levels[:, 0]
    levels[0] = (0.0, 0.0, 0.0)
    levels[:, 1] += 0.1
    palette = with_colours(shared, levels)
    assert reach_cells(palette, BEYOND) is None
    pixels = rng.random((20, 30, 3)).astype(np.float32)
    low, high = tolerated(palette.linear.min(axis=0), palette.linear.max(axis=0))
    assert clipped_pixels(pixels, palette) == np.count_nonzero(((pixels < low) | (pixels > high)).any(axis=2))


def test_a_grey_board_is_judged_by_luminance(make_board, memory, ladder) -> None:
    palette = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["v0-v1"]), ladder=ladder(grey={"v0": 1330.0, "v1": 715.0})
    ).palette
    white = float(palette.linear.max())
    assert 0.1 < white < 0.9
    pixels = np.array([[[0.9 * white / 0.2126, 0, 0], [1.1 * white / 0.2126, 0, 0], [0, white, 0], [1, 1, 1]]])
    assert [clipped_pixels(pixel[None, None], palette) for pixel in pixels[0]] == [0, 1, 0, 1]


@pytest.mark.parametrize("tied", ["greys", "no blue", "green and blue together", "tilted"])
def test_light_goes_to_the_nearest_of_a_line_or_plane(shared: Board, tied: str) -> None:
    """By least squares, guns weighted by their share of luminance; luminance stays where the board has greys."""
    rng = np.random.default_rng(8)
    drive = rng.random((16, 3))
    weights = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
    axes = {
        "greys": [[1, 1, 1]],
        "no blue": [[1, 0, 0], [0, 1, 0]],
        "green and blue together": [[1, 0, 0], [0, 1, 1]],
        "tilted": [[0.5, 0.4, 0.1], [0.1, 0.2, 0.6]],
    }[tied]
    light = rng.random((16, len(axes))) @ np.array(axes)
    light[0] = 0
    drive = srgb_from_linear(light) if tied != "tilted" else srgb_from_linear(light * 0.8 + 0.05)
    palette = with_colours(shared, drive)
    black = palette.linear[np.argmin(palette.linear @ weights)]
    pixels = rng.random((5, 7, 3)).astype(np.float32)
    found = nearest_in_principle(pixels, palette)
    root = np.sqrt(weights)
    for pixel, nearest in zip(pixels.reshape(-1, 3), found.reshape(-1, 3), strict=True):
        parts = np.linalg.lstsq((np.array(axes) * root).T, (pixel - black) * root, rcond=None)[0]
        np.testing.assert_allclose(nearest, black + parts @ np.array(axes), atol=2e-5)
    if tied in ("greys", "green and blue together"):
        np.testing.assert_allclose(found @ weights, pixels @ weights, atol=1e-5)
    assert found.dtype == np.float32
    assert nearest_in_principle(pixels, shared.palette) is pixels


def test_a_hull_of_very_many_faces(shared: Board) -> None:
    """A ball: more faces than 16 bits count in the cells' lists."""
    points = np.random.default_rng(7).normal(size=(3000, 3))
    ball = 0.5 + 0.4 * points / np.linalg.norm(points, axis=1, keepdims=True)
    palette = with_colours(shared, ball)
    cells = reach_cells(palette, BEYOND)
    assert cells is not None
    assert cells.states.dtype == np.uint32
    mean = palette.linear.mean(axis=0, dtype=np.float64).astype(np.float32)
    assert clipped_pixels(mean[None, None], palette) == 0
    assert clipped_pixels(np.zeros((2, 2, 3)), palette) == 4
