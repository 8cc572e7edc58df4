import io

import numpy as np
from PIL import Image

from ladderlight.readback.damage import MARK, damage, damage_png, with_device


def test_what_differs_is_marked_and_the_rest_is_grey(board, banked):
    words = {"picture": banked(board, (0, 2)).memories["picture"].words}
    found = {"picture": words["picture"].copy()}
    found["picture"][7 | 5 << 8 | 2 << 15] ^= 1
    picture = damage(board, words, found, 2)
    assert (picture.dtype, picture.shape) == (np.uint8, (480, 640, 3))
    marked = (picture == MARK).all(axis=2)
    assert marked.sum() == 16
    assert marked[20:24, 28:32].all()
    grey = picture[~marked]
    assert (grey == grey[:, :1]).all()
    assert grey.max() <= 128
    assert not (damage(board, words, found, 0) == MARK).all(axis=2).any()


def test_counts_narrower_or_wider_than_monitor_pixels_are_marked_whole(make_board, memory):
    slow = make_board(memory(address=["x0-x7"], data=["b0-b1", "g0-g1", "r0-r1"]), mode="1024x768@60", clock="16250000")
    fast = make_board(memory(address=["x0-x10"], data=["b0-b1", "g0-g1", "r0-r1"]), clock="50350000")
    for board, columns in ((slow, range(40, 44)), (fast, range(5, 6))):
        words = {"picture": np.zeros(131072, dtype=np.uint32)}
        found = {"picture": words["picture"].copy()}
        found["picture"][10] = 63
        marked = (damage(board, words, found, 0) == MARK).all(axis=2)
        assert np.flatnonzero(marked.any(axis=0)).tolist() == list(columns)
        assert marked[:, columns[0]].all()


def test_only_banks_that_differ_are_written(board, banked):
    words = {"picture": banked(board, (0, 2)).memories["picture"].words}
    found = with_device(words, board.devices[0], words["picture"] ^ np.uint32(1))
    assert Image.open(io.BytesIO(damage_png(board, words, found, [0, 2]))).size == (640, 2 * 504)
    found = {"picture": words["picture"].copy()}
    found["picture"][2 << 15] ^= 1
    assert Image.open(io.BytesIO(damage_png(board, words, found, [0, 2]))).size == (640, 504)
    assert Image.open(io.BytesIO(damage_png(board, words, words, [0, 2]))).size == (640, 504)


def test_one_chip_of_a_row_is_replaced(make_board, memory, random_contents):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27128", chips=2))
    words = {"picture": random_contents(board).memories["picture"].words}
    found = with_device(words, board.devices[1], np.zeros(16384, dtype=np.uint32))
    assert (found["picture"][:16384] == words["picture"][:16384]).all()
    assert not found["picture"][16384:].any()
    assert words["picture"][16384:].any()
