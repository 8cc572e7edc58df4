"""Pictures and boards that the picture stages' tests share."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ladderlight import Board, Origin, Picture


@pytest.fixture
def picture() -> Callable[..., Picture]:
    """Make a picture from pixels, or a random one from a size."""

    def make(pixels: np.ndarray | None = None, *, size: tuple[int, int] | None = None) -> Picture:
        if size is not None:
            pixels = np.random.default_rng(1).random((size[1], size[0], 3))
        return Picture(origin=Origin(name="quay", source="quay.png"), pixels=np.asarray(pixels, dtype=np.float32))

    return make


@pytest.fixture
def places() -> Callable[[int, int], np.ndarray]:
    """Give pixels that tell where they are: x in red and y in green, both over 1000."""

    def make(width: int, height: int) -> np.ndarray:
        y, x = np.mgrid[0:height, 0:width]
        return np.stack([x / 1000, y / 1000, x * 0], axis=-1).astype(np.float32)

    return make


@pytest.fixture
def wide_pixels(make_board, memory) -> Board:
    """A board of 80x120 pixels, each twice as wide as high."""
    colours = ["b0-b1", "g0-g1", "r0-r1"]
    board = make_board(memory(address=["x3-x9", "y2-y8"], data=colours))
    assert (board.geometry.width, board.geometry.height, board.geometry.pixel_aspect) == (80, 120, 2.0)
    return board
