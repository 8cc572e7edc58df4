"""Codes as PNG files."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from ladderlight import coded_png


def test_up_to_256_codes_are_the_pixel_values_of_an_indexed_picture(board):
    codes = np.arange(64, dtype=np.uint16).reshape(8, 8)
    picture = Image.open(io.BytesIO(coded_png(codes, board)))
    assert picture.mode == "P"
    assert (np.asarray(picture) == codes).all()
    assert (np.asarray(picture.convert("RGB")) == board.palette.srgb8[codes]).all()


def test_more_than_256_codes_become_plain_colours(make_board, memory, ladder, banked):
    channels = {gun: {f"{gun[0]}{bit}": 500.0 * 2**bit for bit in range(3)} for gun in ("red", "green", "blue")}
    lines = ["b0-b2", "g0-g2", "r0-r2"]
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=lines, part="27C1024"), ladder=ladder(**channels))
    codes = np.arange(512).reshape(16, 32)
    picture = Image.open(io.BytesIO(coded_png(codes, board)))
    assert picture.mode == "RGB"
    assert (np.asarray(picture) == board.palette.srgb8[codes]).all()
