"""Annealing of codes, and the error that it minimises."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage import data
from skimage.color import rgb2lab, xyz2lab
from skimage.transform import resize

from ladderlight import Board
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.halftone.palette_tables import colour_places, unique_colours
from ladderlight_stages.perception.luminance import XYZ_FROM_LINEAR
from ladderlight_stages.perception.vision import OPPONENT_FROM_XYZ, Viewer, seen_opponent
from ladderlight_stages.reductions.nearest import nearest_codes
from ladderlight_stages.refining.annealing import PLACES, annealed, exchanges, nearest_others
from ladderlight_stages.refining.annealing_loops import _add_differences, anneal
from ladderlight_stages.refining.visible_error import TO_XYZ, VisibleError


def error_of(board: Board, pixels: np.ndarray, density: float, **options: float) -> VisibleError:
    pixels = pixels.astype(np.float32)
    return VisibleError(pixels=pixels, linear=board.palette.linear, density=(density, density), **options)


@pytest.fixture(scope="module")
def gradient() -> np.ndarray:
    """A gradient with some noise, 60x45."""
    noise = np.random.default_rng(2).normal(0, 0.05, (45, 60, 3))
    return np.clip(np.linspace(0, 0.8, 60)[None, :, None] + noise, 0, 1).astype(np.float32)


def test_differences_are_cielabs_with_the_weights_given(board: Board) -> None:
    """CIELAB by scikit-image; those around a pixel, and the mean of all."""
    rng = np.random.default_rng(1)
    error = error_of(board, rng.random((5, 5, 3)), 15.0)
    chosen = rng.integers(0, 64, (5, 5)).astype(np.int32)
    seen = error.seen(chosen)
    steps = rng.normal(0, 0.1, (3, 8)).astype(np.float32)
    blur = np.repeat(error.blur[..., None], 8, axis=-1)
    costs = np.zeros(8, np.float32)
    _add_differences(costs, steps, blur, seen, error.wanted, TO_XYZ, 2, 2)
    white = XYZ_FROM_LINEAR @ np.ones(3) / np.array([0.95047, 1.0, 1.08883])

    def expected(seen: np.ndarray) -> np.ndarray:
        gap = xyz2lab(seen @ np.linalg.inv(OPPONENT_FROM_XYZ).T / white) - error.wanted[..., :3]
        bright, dull = error.wanted[..., 3], error.wanted[..., 4]
        return np.sqrt((gap[..., 0] * bright) ** 2 + (gap[..., 1] ** 2 + gap[..., 2] ** 2) * dull)

    found = [expected(seen + error.blur * step).sum() for step in steps.T]
    np.testing.assert_allclose(costs, found, rtol=2e-3)
    assert error.mean(chosen) == pytest.approx(expected(seen).mean(), rel=1e-3)


@pytest.mark.parametrize("density", [6.0, 12.0, 30.0])
def test_the_visible_error_becomes_less(board: Board, gradient: np.ndarray, density: float) -> None:
    start = np.random.default_rng(2).integers(0, 64, gradient.shape[:2]).astype(np.int32)
    viewer = Viewer(reference=gradient, density=(density, density))
    found = annealed(error_of(board, gradient, density), start, 30)
    assert viewer.error(board.palette.linear[found]).mean < 0.6 * viewer.error(board.palette.linear[start]).mean


def test_more_sweeps_find_less_error(board: Board, gradient: np.ndarray) -> None:
    start = np.zeros(gradient.shape[:2], dtype=np.int32)
    viewer = Viewer(reference=gradient, density=(30.0, 30.0))
    error = error_of(board, gradient, 30.0)
    few, many = (viewer.error(board.palette.linear[annealed(error, start, n)]).mean for n in (5, 80))
    assert many < 0.9 * few


def test_tones_do_not_drift_where_the_blur_reaches_further_than_the_loop(boards: dict[str, Board]) -> None:
    """Two fifths of the blur of colours are further away than three pixels; a photograph that is neutral stays so."""
    board = boards["256 colours"]
    light = resize(linear_from_srgb(data.camera() / 255), (60, 80), anti_aliasing=True).astype(np.float32)
    neutral = np.repeat(light[..., None], 3, axis=-1)
    error = error_of(board, neutral, 46.5)
    start = nearest_codes(neutral, board.palette).astype(np.int32)
    few, many = (annealed(error, start, sweeps) for sweeps in (8, 30))
    assert error.mean(many) < 0.95 * error.mean(few)
    green = rgb2lab(srgb_from_linear(board.palette.linear[many].mean(axis=(0, 1), keepdims=True)))[0, 0, 1]
    assert abs(green) < 0.4


def test_a_loop_keeps_what_is_seen_and_the_areas_up_to_date(board: Board, gradient: np.ndarray) -> None:
    """Worked out anew after a sweep, both are the same: the eye's blur ends within two pixels here."""
    error = error_of(board, gradient, 5.0)
    rng = np.random.default_rng(3)
    chosen = rng.integers(0, 64, gradient.shape[:2]).astype(np.int32)
    pull, seen = error.pull(chosen), error.seen(chosen)
    moves = nearest_others(error.linear.astype(np.float32), 64)
    before = error.mean(chosen) * chosen.size + coarse(error, chosen, pull, gradient)
    changes = anneal(
        chosen,
        seen,
        error.wanted,
        error.colours,
        moves,
        np.repeat(error.blur[..., None], 64, axis=-1),
        PLACES,
        exchanges(error.blur),
        pull,
        error.weights,
        error.balanced,
        error.spread,
        TO_XYZ,
        np.zeros((*chosen.shape, 64 + len(PLACES)), np.float32),
    )
    assert changes > 500
    np.testing.assert_allclose(pull, error.pull(chosen), rtol=1e-3, atol=2e-3 * np.abs(pull).max())
    assert np.abs(seen - error.seen(chosen))[..., 0].max() < 0.05
    assert error.mean(chosen) * chosen.size + coarse(error, chosen, pull, gradient) < 0.7 * before


def test_exchanges_move_light_and_add_none() -> None:
    """A pixel takes a step of colour, and that at the place the opposite one."""
    blur = np.arange(1, 10, dtype=np.float32).reshape(3, 3, 1).repeat(3, axis=-1)
    table = exchanges(blur)
    assert (table[..., 0] == 0).all()  # with itself
    np.testing.assert_array_equal(table.sum(axis=(0, 1)), np.zeros((3, len(PLACES))))
    east = list(map(tuple, PLACES)).index((0, 1))
    np.testing.assert_array_equal(table[2, :, 0, east], [0, 4, 5 - 4, 6 - 5, -6])


def coarse(error: VisibleError, chosen: np.ndarray, pull: np.ndarray, pixels: np.ndarray) -> float:
    from ladderlight_stages.refining import visible_error

    wanted = pixels @ visible_error._BALANCED_FROM_LINEAR.T
    return float(((error.balanced[chosen] - wanted) * error.weights * np.moveaxis(pull, 0, -1)).sum())


def test_what_a_pixel_adds_is_part_of_the_whole_blur(board: Board) -> None:
    """Beside what reaches further, against the blur of a picture with one pixel lit."""
    lit = np.zeros((41, 41, 3))
    lit[20, 20] = 1.0
    seen, dark = seen_opponent(lit, (15.0, 10.0)), seen_opponent(np.zeros_like(lit), (15.0, 10.0))
    one = seen_opponent(np.ones_like(lit), (15.0, 10.0))[20, 20]
    blur = replace(error_of(board, lit, 15.0), density=(15.0, 10.0)).blur
    np.testing.assert_allclose(blur, ((seen - dark) / one)[18:23, 18:23], atol=2e-3)


def test_errors_of_areas_count_in_the_dark_beside_the_light_too(board: Board) -> None:
    """There the blur leaves less than nothing of some channels."""
    pixels = np.zeros((60, 80, 3), dtype=np.float32)
    pixels[:, :40] = (1.0, 0.9, 0.8)
    assert error_of(board, pixels, 20.0).weights.min() > 0.0005


def test_pixels_that_are_not_square_spread_errors_alike_on_the_screen(board: Board, gradient: np.ndarray) -> None:
    """Of pixels twice as wide as high, half as many across: the same length."""
    spread = error_of(board, gradient, 20.0, aspect=2.0).spread
    middle = len(spread) // 2
    assert spread[middle, middle + 2] == pytest.approx(spread[middle + 4, middle], rel=0.1)
    square = error_of(board, gradient, 20.0).spread
    np.testing.assert_allclose(square, square.T, rtol=1e-4, atol=1e-3)


def test_a_start_in_another_code_of_equal_colour_gives_the_same(board: Board, gradient: np.ndarray) -> None:
    """A board on which codes 2 and 40 show the same colour."""
    volts = board.palette.volts.copy()
    volts[40] = volts[2]
    palette = replace(board.palette, volts=volts)
    linear, _ = unique_colours(palette)
    places = colour_places(palette)
    assert places[2] == places[40]
    error = VisibleError(pixels=gradient, linear=linear, density=(20.0, 20.0))
    found = [annealed(error, np.full(gradient.shape[:2], places[code], np.int32), 3) for code in (2, 40)]
    np.testing.assert_array_equal(*found)


def test_a_single_colour_stays(board: Board) -> None:
    error = VisibleError(pixels=np.full((3, 4, 3), 0.5, np.float32), linear=np.full((1, 3), 0.2), density=(9.0, 9.0))
    np.testing.assert_array_equal(annealed(error, np.zeros((3, 4), np.int32), 2), np.zeros((3, 4)))
