"""Reduction without dithering."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ladderlight import Board, Origin, Picture
from ladderlight.colour.spaces import similarity_from_linear
from ladderlight_stages.reductions.nearest import nearest


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


def test_every_colour_of_the_board_keeps_its_code(board: Board) -> None:
    codes = np.arange(64).reshape(8, 8)
    np.testing.assert_array_equal(nearest(picture(board.palette.linear[codes]), board).codes, codes)


def test_each_pixel_takes_the_colour_most_like_it(board: Board) -> None:
    pixels = np.random.default_rng(1).random((60, 80, 3)) ** 2
    codes = nearest(picture(pixels), board).codes
    gaps = np.linalg.norm(
        similarity_from_linear(pixels)[:, :, None] - similarity_from_linear(board.palette.linear), axis=-1
    )
    chosen = np.take_along_axis(gaps, codes[..., None].astype(int), axis=-1)[..., 0]
    np.testing.assert_allclose(chosen, gaps.min(axis=-1), atol=1e-6)
    assert codes.dtype == np.uint16


def test_reduced_again_it_is_unchanged(board: Board) -> None:
    first = nearest(picture(np.random.default_rng(2).random((30, 40, 3))), board).codes
    np.testing.assert_array_equal(nearest(picture(board.palette.linear[first]), board).codes, first)


@pytest.mark.parametrize("light", [-1.0, 0.0, 1.0, 2.0])
def test_light_out_of_range_takes_the_end(board: Board, light: float) -> None:
    codes = nearest(picture(np.full((1, 1, 3), light)), board).codes
    assert codes[0, 0] == (63 if light > 0.5 else 0)


def test_a_grey_board(make_board: Callable[..., Board], memory: Callable, ladder: Callable) -> None:
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["w0", "w1"]),
        ladder=ladder(grey={"w0": 500.0, "w1": 227.0}),
        check=False,
    )
    levels = board.palette.linear[:, 0]
    codes = nearest(picture(np.repeat(np.linspace(0, 1, 200)[None, :, None], 3, axis=2)), board).codes[0]
    assert (np.diff(levels[codes]) >= 0).all()
    assert len(np.unique(codes)) == 4
