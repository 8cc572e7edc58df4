"""Boards with maps, and pictures made of few tiles."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import CodedPicture, Origin
from ladderlight.board.scanning.scan import scan

RGB = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.fixture
def coded():
    """Make a coded picture of a board's size, random unless codes are given."""

    def make(board, name="a", *, bank=None, seed=0, codes=None, duration=None):
        if codes is None:
            shape = (board.geometry.height, board.geometry.width)
            codes = np.random.default_rng(seed).integers(0, len(board.palette), shape)
        origin = Origin(name=name, source=f"{name}.png", bank=bank, duration=duration)
        return CodedPicture(origin=origin, codes=codes.astype(np.uint16))

    return make


@pytest.fixture
def shown():
    """What the scan puts on the ladders at each picture pixel."""

    def look(board, contents, bank=0):
        words = {name: memory.words for name, memory in contents.memories.items()}
        return scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank).codes

    return look


@pytest.fixture
def banks():
    """Which bank each picture is in."""
    return lambda contents: {placed.origin.name: placed.bank for placed in contents.pictures}


@pytest.fixture
def tile_board(make_board, memory):
    """160x120 pixels in 64 colours, 8x8 tiles mirrored by gates, four maps, 64 tiles; or other addresses and parts."""

    def make(
        tile_address=("x2-x4^map.d6", "y2-y4^map.d7", "map.d0-map.d5"),
        map_address=("x5-x9", "y5-y8", "bank0-bank1"),
        *,
        tile_part="2732",
        map_part="28C16",
    ):
        return make_board(
            memory("map", address=list(map_address), data=["-"], part=map_part),
            memory("tiles", address=list(tile_address), data=RGB, part=tile_part),
        )

    return make


@pytest.fixture
def mosaic():
    """Codes of a board's size, laid from some random tiles that are turned at random as the flips allow."""

    def lay(board, *, tiles=20, seed=0, tile_seed=99, size=8, flips=("x", "y")):
        choose = np.random.default_rng(seed)
        stock = np.random.default_rng(tile_seed).integers(0, len(board.palette), (tiles, size, size))
        height, width = board.geometry.height, board.geometry.width
        codes = np.zeros((height + size, width + size), dtype=np.uint16)
        for y in range(0, height, size):
            for x in range(0, width, size):
                tile = stock[choose.integers(tiles)]
                tile = tile[::-1] if "y" in flips and choose.integers(2) else tile
                tile = tile[:, ::-1] if "x" in flips and choose.integers(2) else tile
                codes[y : y + size, x : x + size] = tile
        return codes[:height, :width]

    return lay
