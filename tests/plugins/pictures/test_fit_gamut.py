"""Fitting pictures into what a ladder can show."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from ladderlight import Board
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.perception.measures import clipped_pixels
from ladderlight_stages.pictures.fit_gamut import fit_gamut

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def can_be_mixed(colour: np.ndarray, palette: np.ndarray) -> bool:
    """Whether a colour is a mean of palette colours, to a ten-thousandth: by linear programming."""
    equations = np.vstack([palette.T, np.ones(len(palette))])
    slack = np.hstack([equations, np.eye(4)[:, :3], -np.eye(4)[:, :3]])
    cost = np.concatenate([np.zeros(len(palette)), np.ones(6)])
    return linprog(cost, A_eq=slack, b_eq=[*colour, 1]).fun < 1e-4


def intensity_board(make_board, memory, ladder) -> Board:
    """A board of 16 colours: one line per gun and an intensity line that feeds all three."""
    shared = ladder(red={"r": 715.0, "i": 1330.0}, green={"g": 715.0, "i": 1330.0}, blue={"b": 715.0, "i": 1330.0})
    return make_board(memory(address=["x2-x9", "y2-y8"], data=["b", "g", "r", "i"]), ladder=shared)


def dim_board(make_board, memory, ladder) -> Board:
    """A board whose white is well below the peak."""
    dim = ladder(**{gun: {f"{gun[0]}0": 2700.0, f"{gun[0]}1": 1500.0} for gun in ("red", "green", "blue")})
    return make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]), ladder=dim)


def grey_board(make_board, memory, ladder) -> Board:
    """A board whose one channel feeds all guns."""
    return make_board(
        memory(address=["x2-x9", "y2-y8"], data=["v0-v1"]), ladder=ladder(grey={"v0": 1330.0, "v1": 715.0})
    )


def two_gun_board(make_board, memory, ladder) -> Board:
    """A board of red and green only."""
    return make_board(
        memory(address=["x2-x9", "y2-y8"], data=["r0-r1", "g0-g1"]),
        ladder=ladder(red={"r0": 1330.0, "r1": 715.0}, green={"g0": 1330.0, "g1": 715.0}),
    )


BOARDS = [intensity_board, dim_board, grey_board, two_gun_board]


@pytest.fixture(params=BOARDS, ids=lambda make: make.__name__)
def some_board(request, make_board, memory, ladder) -> Board:
    return request.param(make_board, memory, ladder)


def test_every_pixel_can_be_mixed(some_board, picture):
    corners = np.array(np.meshgrid([0, 1], [0, 1], [0, 1])).reshape(3, -1).T
    colours = np.concatenate([corners, np.random.default_rng(6).random((60, 3))])[np.newaxis]
    palette = some_board.palette.linear
    result = fit_gamut(picture(colours), some_board).pixels[0]
    assert not all(can_be_mixed(colour, palette) for colour in colours[0])
    assert all(can_be_mixed(colour, palette) for colour in result)


def test_black_and_white_become_the_boards(some_board, picture):
    palette = some_board.palette
    result = fit_gamut(picture([[[0, 0, 0], [1, 1, 1]]]), some_board).pixels[0]
    np.testing.assert_allclose(result[0], palette.linear[palette.black_code], atol=1e-6)
    np.testing.assert_allclose(result[1], palette.linear[np.argmax(palette.linear @ LUMINANCE)], atol=1e-6)


def test_light_stays_in_proportion(make_board, memory, ladder, picture):
    target = dim_board(make_board, memory, ladder)
    top = target.palette.linear.max(axis=0)
    assert top.max() < 0.5
    source = picture(size=(30, 20))
    np.testing.assert_allclose(fit_gamut(source, target).pixels, source.pixels * top, atol=1e-6)


def test_colours_keep_luminance_on_a_shared_intensity_board(make_board, memory, ladder, picture):
    target = intensity_board(make_board, memory, ladder)
    white = target.palette.linear.max()
    source = picture(size=(30, 20))
    result = fit_gamut(source, target).pixels
    np.testing.assert_allclose(result @ LUMINANCE, source.pixels @ LUMINANCE * white, atol=1e-5)


def test_a_grey_board_shows_luminance(make_board, memory, ladder, picture):
    target = grey_board(make_board, memory, ladder)
    source = picture(size=(30, 20))
    result = fit_gamut(source, target).pixels
    expected = source.pixels @ LUMINANCE * target.palette.linear.max()
    np.testing.assert_allclose(result, np.repeat(expected[:, :, np.newaxis], 3, axis=2), atol=1e-5)


def test_strength(board, picture):
    source = picture(size=(30, 20))
    whole, half = fit_gamut(source, board).pixels, fit_gamut(source, board, strength=0.5).pixels
    np.testing.assert_allclose(half, (source.pixels + whole) / 2, atol=1e-6)
    np.testing.assert_array_equal(fit_gamut(source, board, strength=0).pixels, source.pixels)


def test_a_picture_drawn_for_the_board_is_left_alone(some_board, picture):
    codes = np.random.default_rng(7).integers(0, len(some_board.palette), (120, 160))
    drawn = picture(some_board.palette.linear[codes])
    assert fit_gamut(drawn, some_board) is drawn
    assert exact_codes(drawn.pixels, some_board.palette) is not None


def test_nothing_is_clipped_any_more(some_board, picture):
    source = picture(size=(60, 40))
    assert clipped_pixels(source.pixels, some_board.palette) > 0
    assert clipped_pixels(fit_gamut(source, some_board).pixels, some_board.palette) == 0
