"""Reduction by a pattern of thresholds."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import Board, Origin, Picture
from ladderlight.board import linear_from_srgb
from ladderlight.colour.spaces import LUMINANCE
from ladderlight_stages.reductions.nearest import nearest
from ladderlight_stages.reductions.ordered import ordered

PATTERNS = [("bayer", 2), ("bayer", 4), ("bayer", 8), ("bayer", 16), ("clustered_dot", 8), ("blue_noise", 8)]
BOARDS = ["lattice", "black and white", "grey 4", "eight colours", "256 colours", "16-bit codes", "shared intensity"]


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.mark.parametrize(("pattern", "size"), PATTERNS)
@pytest.mark.parametrize("name", BOARDS)
def test_the_mean_level_of_a_ramp_is_kept(boards: dict[str, Board], name: str, pattern: str, size: int) -> None:
    palette = boards[name].palette
    high = palette.linear.max(axis=0).min()
    pixels = np.broadcast_to(np.linspace(palette.linear.min(), high, 256)[None, :, None], (128, 256, 3))
    shown = palette.linear[ordered(picture(pixels), boards[name], pattern=pattern, size=size).codes]
    # a pattern of n thresholds shows n + 1 levels between two of the board's
    np.testing.assert_allclose(shown.mean(axis=(0, 1)), pixels.mean(axis=(0, 1)), atol=0.005 * high)


@pytest.mark.parametrize("name", BOARDS)
def test_reduced_again_it_is_unchanged(boards: dict[str, Board], name: str) -> None:
    board = boards[name]
    first = ordered(picture(np.random.default_rng(1).random((40, 50, 3))), board).codes
    np.testing.assert_array_equal(ordered(picture(board.palette.linear[first]), board).codes, first)


def test_a_plain_area_shows_the_pattern_itself(boards: dict[str, Board]) -> None:
    """Bayer's 2x2 at a quarter of the light: one pixel in four."""
    board = boards["black and white"]
    light = np.full((8, 8, 3), board.palette.linear.max() * 0.25)
    codes = ordered(picture(light), board, pattern="bayer", size=2).codes
    np.testing.assert_array_equal(codes, np.tile([[1, 0], [0, 0]], (4, 4)))


def test_what_does_not_change_in_the_picture_does_not_change_in_the_codes(board: Board) -> None:
    rng = np.random.default_rng(2)
    first = rng.random((60, 80, 3)).astype(np.float32)
    second = first.copy()
    second[10:20, 30:50] = rng.random((10, 20, 3))
    changed = ordered(picture(first), board).codes != ordered(picture(second), board).codes
    assert changed[10:20, 30:50].any()
    changed[10:20, 30:50] = False
    assert not changed.any()


def test_without_strength_a_gun_takes_the_nearer_level(board: Board) -> None:
    levels = board.palette.lattice.levels
    pixels = np.random.default_rng(3).random((30, 40, 3))
    shown = board.palette.linear[ordered(picture(pixels), board, strength=0.0).codes]
    for gun in range(3):
        gaps = np.abs(pixels[..., gun, None] - levels[gun])
        np.testing.assert_allclose(np.abs(pixels[..., gun] - shown[..., gun]), gaps.min(axis=-1), atol=1e-6)


@pytest.mark.parametrize(("pattern", "size"), PATTERNS)
def test_a_neutral_picture_stays_neutral_where_guns_have_equal_levels(board: Board, pattern: str, size: int) -> None:
    """A grey ramp of 8-bit sRGB. With the guns apart, more than a third of its pixels are coloured."""
    grey = linear_from_srgb(np.arange(256) / 255)[None, :, None] * np.ones((64, 1, 3))
    shown = board.palette.linear[ordered(picture(grey), board, pattern=pattern, size=size).codes]
    np.testing.assert_array_equal(shown, shown[..., :1] * np.ones(3))
    assert len(np.unique(shown)) == 4
    apart = board.palette.linear[ordered(picture(grey), board, pattern=pattern, size=size, guns="apart").codes]
    assert (apart != apart[..., :1]).any(axis=-1).mean() > 1 / 3
    # the lightness of the dots varies less: green lights up where red does not
    assert (apart @ LUMINANCE).std(axis=0).mean() < (shown @ LUMINANCE).std(axis=0).mean()


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1)])
def test_small_pictures(boards: dict[str, Board], shape: tuple[int, int]) -> None:
    for board in boards.values():
        codes = ordered(picture(np.full((*shape, 3), 0.37)), board).codes
        assert codes.shape == shape
        assert codes.dtype == np.uint16
        assert nearest(picture(np.full((*shape, 3), 0.37)), board).codes.dtype == np.uint16
