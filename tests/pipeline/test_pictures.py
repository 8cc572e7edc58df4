"""What flows through a chain: codes that are kept from one frame to the next."""

from __future__ import annotations

import numpy as np
import pytest
from skimage import data

from ladderlight import Board, Origin, Picture
from ladderlight.board import linear_from_srgb
from ladderlight_stages.reductions.diffuse import diffuse
from ladderlight_stages.reductions.riemersma import riemersma


@pytest.fixture
def frames() -> list[Picture]:
    """A photograph, and the same with a square of it darkened."""
    pixels = linear_from_srgb(data.chelsea()[::3, ::3] / 255).astype(np.float32)
    moved = pixels.copy()
    moved[20:40, 30:60] *= 0.5
    return [Picture(origin=Origin(name="cat", source="cat.gif"), pixels=each) for each in (pixels, moved)]


@pytest.mark.parametrize("reduce", [diffuse, riemersma])
def test_what_did_not_change_keeps_its_codes(board: Board, frames: list[Picture], reduce) -> None:
    first, second = frames
    before = reduce(first, board)
    alone = reduce(second, board)
    steady = reduce(second.after(first, before), board)
    changed = np.zeros(before.codes.shape, dtype=bool)
    changed[20:40, 30:60] = True
    assert (steady.codes[~changed] == before.codes[~changed]).all()
    assert (steady.codes[changed] == alone.codes[changed]).all()
    # Without it, the change reaches far beyond the square: the check above can fail.
    assert np.count_nonzero(alone.codes[~changed] != before.codes[~changed]) > 500


def test_the_mean_level_of_the_whole_stays(board: Board, frames: list[Picture]) -> None:
    first, second = frames
    steady = diffuse(second.after(first, diffuse(first, board)), board)
    shown = board.palette.linear[steady.codes].mean(axis=(0, 1))
    white = board.palette.linear.max()
    assert shown == pytest.approx(np.minimum(second.pixels, white).mean(axis=(0, 1)), abs=0.005)


def test_frames_of_different_sizes_keep_nothing(board: Board, frames: list[Picture]) -> None:
    first, second = frames
    smaller = first.with_pixels(first.pixels[:50])
    assert second.after(smaller, diffuse(smaller, board)).kept is None
