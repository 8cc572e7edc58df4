import io

import numpy as np
from PIL import Image

from ladderlight.proof.scanout import Scanned, render
from ladderlight.proof.screens import Screen, Shown, shown_banks, to_png


def test_pixels_survive_with_few_and_with_many_colours():
    rng = np.random.default_rng(1)
    few = rng.integers(0, 256, (7, 3), dtype=np.uint8)[rng.integers(0, 7, (20, 30))]
    many = rng.integers(0, 256, (20, 30, 3), dtype=np.uint8)
    for pixels, mode in ((few, "P"), (many, "RGB")):
        picture = Image.open(io.BytesIO(to_png(pixels)))
        assert picture.mode == mode
        assert (np.asarray(picture.convert("RGB")) == pixels).all()
        assert to_png(pixels) == to_png(pixels.copy())


def test_a_screen_shows_what_is_rendered_whatever_the_ratio_of_the_clocks(make_board, memory, banked):
    for clock, x, mode in (("25175000", "x3-x9", "P"), ("12587500", "x2-x8", "P"), ("50350000", "x3-x10", "RGB")):
        address = [x, "y3-y8", "bank0"]
        board = make_board(memory(address=address, data=["b0-b1", "g0-g1", "r0-r1"]), clock=clock)
        words = {"picture": banked(board, (1,)).memories["picture"].words}
        screen = Screen(scanned=Scanned(board=board, words=words, banks=[1]), bank=1)
        with Image.open(io.BytesIO(screen.png)) as picture:
            assert picture.size == (640, 480)
            assert mode == "RGB" or picture.mode == "P"
            assert (np.asarray(picture.convert("RGB")) == render(board, words, 1)).all()
        read = Shown.of(screen.png)
        assert (screen.shown.colours == read.colours).all(), "as decoded"
        assert screen.shown.small == read.small


def test_banks_with_pictures_are_shown_or_all_when_none_is_named(board):
    assert shown_banks(board, [3, 1, 3]) == [1, 3]
    assert shown_banks(board, []) == [0, 1, 2, 3]
