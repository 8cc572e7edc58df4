"""Diffusion along Hilbert's curve."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import Board, Origin, Picture
from ladderlight_stages.reductions.riemersma import hilbert_path, riemersma

BOARDS = ["lattice", "black and white", "grey 4", "eight colours", "256 colours", "16-bit codes", "shared intensity"]


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.mark.parametrize("side", [1, 2, 4, 32])
def test_the_curve_steps_from_neighbour_to_neighbour(side: int) -> None:
    y, x = np.divmod(hilbert_path(side, side), side)
    assert (np.abs(np.diff(y)) + np.abs(np.diff(x)) == 1).all()


@pytest.mark.parametrize(("height", "width"), [(1, 1), (1, 7), (30, 41), (120, 160)])
def test_the_curve_visits_every_pixel_once(height: int, width: int) -> None:
    np.testing.assert_array_equal(np.sort(hilbert_path(height, width)), np.arange(height * width))


@pytest.mark.parametrize("name", BOARDS)
def test_the_mean_level_of_a_ramp_is_kept(boards: dict[str, Board], name: str) -> None:
    palette = boards[name].palette
    high = palette.linear.max(axis=0).min()
    pixels = np.broadcast_to(np.linspace(palette.linear.min(), high, 256)[None, :, None], (128, 256, 3))
    shown = palette.linear[riemersma(picture(pixels), boards[name]).codes]
    np.testing.assert_allclose(shown.mean(axis=(0, 1)), pixels.mean(axis=(0, 1)), atol=0.005 * high)


@pytest.mark.parametrize("name", BOARDS)
def test_reduced_again_it_is_unchanged(boards: dict[str, Board], name: str) -> None:
    board = boards[name]
    first = riemersma(picture(np.random.default_rng(1).random((40, 50, 3))), board).codes
    np.testing.assert_array_equal(riemersma(picture(board.palette.linear[first]), board).codes, first)


def test_a_row_equals_a_plain_loop(boards: dict[str, Board]) -> None:
    """Two levels, the curve through a square of 16, in double precision."""
    board = boards["black and white"]
    white = board.palette.linear.max()
    light = np.linspace(0, white, 256).reshape(16, 16)
    weights = 0.0625 ** (np.arange(16) / 15)
    weights /= weights.sum()
    errors = np.zeros(16)
    expected = np.zeros(256)
    for place in hilbert_path(16, 16):
        value = light.flat[place] + weights @ errors
        expected[place] = value > white / 2
        errors = np.roll(errors, 1)
        errors[0] = value - expected[place] * white
    codes = riemersma(picture(np.repeat(light[..., None], 3, axis=2)), board).codes
    assert (codes.ravel() == expected).mean() > 0.97
