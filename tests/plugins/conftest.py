"""Boards of many palettes, and pictures, that the tests of several packages of stages share."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ladderlight import Board, Origin, Picture

BoardMaker = Callable[..., Board]


@pytest.fixture
def boards(make_board: BoardMaker, memory: Callable, ladder: Callable) -> dict[str, Board]:
    def of(data: list[str], **channels: dict[str, float]) -> Board:
        # two address lines are enough: the palette alone matters here
        part = "27C010" if len(data) <= 8 else "27C1024"
        return make_board(
            memory(address=["x2-x9", "y2-y8"], data=data, part=part), ladder=ladder(**channels), check=False
        )

    two = {"0": 1330.0, "1": 715.0}
    three = {"0": 3300.0, "1": 1600.0, "2": 820.0}
    wide = {str(bit): 920.0 * 2 ** (4 - bit) for bit in range(5)}

    def lines(name: str, table: dict[str, float]) -> dict[str, float]:
        return {name + bit: ohms for bit, ohms in table.items()}

    return {
        "lattice": make_board(),
        "black and white": of(["w0"], grey={"w0": 139.0}),
        "grey 4": of(["w0", "w1"], grey={"w0": 500.0, "w1": 227.0}),
        "eight colours": of(["r0", "g0", "b0"], red={"r0": 470.0}, green={"g0": 470.0}, blue={"b0": 470.0}),
        "256 colours": of(
            ["b0", "b1", "g0", "g1", "g2", "r0", "r1", "r2"],
            red=lines("r", three),
            green=lines("g", three),
            blue=lines("b", two),
        ),
        "16-bit codes": of(
            [f"{gun}{bit}" for gun in "bgr" for bit in range(5)] + ["g5"],
            red=lines("r", wide),
            green=lines("g", wide) | {"g5": 460.0},
            blue=lines("b", wide),
        ),
        "shared intensity": of(
            ["b0", "g0", "r0", "i0"],
            red={"r0": 690.0, "i0": 1400.0},
            green={"g0": 690.0, "i0": 1400.0},
            blue={"b0": 690.0, "i0": 1400.0},
        ),
    }


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
