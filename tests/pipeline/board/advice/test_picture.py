from __future__ import annotations

import pytest

from ladderlight.board.advice.picture import twins

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def test_square_pixels_that_all_have_words_are_passed_over(board, said) -> None:
    assert twins(board) is None
    assert said(board, "picture") == []


def test_a_missing_x_bit(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x8", "y2-y8"], data=DATA))
    assert twins(board) == ((0, 0), (128, 0), 32 * 120)
    (finding,) = said(board, "picture")
    assert finding.level == "caution"
    assert "3,840 of 160x120 pixels have no word of their own" in finding.message
    assert "(128, 0) always shows what (0, 0) shows; wire x9 too" in finding.message
    assert "or use larger pixels: x3-x9 gives 80x120 2:1 pixels" in finding.message


def test_a_missing_y_bit_in_the_middle(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y4", "y6-y8"], data=DATA))
    (finding,) = said(board, "picture")
    assert "(0, 8) always shows what (0, 0) shows; wire y5 too" in finding.message


def test_gates_that_fold_the_picture(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2^x9", "x3-x8", "y2-y8", "x9^x2"], data=DATA))
    (finding,) = said(board, "picture")
    assert "check the gates and constants" in finding.message


def test_tiles_count_by_what_the_counters_choose(make_board, memory, said) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
    )
    assert twins(board) is None


def test_packed_pixels_are_pixels_of_their_own(make_board, memory, ladder, packing) -> None:
    board = make_board(
        memory(address=["x3-x9", "y2-y8"], data=["v0"], part="27C256", packing=packing(pixels=8)),
        ladder=ladder(grey={"v0": 150.0}),
    )
    assert twins(board) is None


@pytest.mark.parametrize(
    ("address", "clock", "text"),
    [
        (
            ["x2-x9", "y1-y8"],
            "25175000",
            "pixels are 2 times as wide as high, which the resize stage allows for; for square pixels start x at x1 "
            "(320x240 square pixels, 1 more address line) or y at y2 (160x120 square pixels, 1 fewer address line)",
        ),
        (
            ["x1-x9", "y3-y8"],
            "25175000",
            "pixels are 0.25 times as wide as high, which the resize stage allows for; for square pixels start y at y1 "
            "(320x240 square pixels, 2 more address lines) or x at x3 (80x60 square pixels, 2 fewer address lines)",
        ),
        (
            ["x1-x8", "y2-y9"],
            "14000000",
            "pixels are 0.899 times as wide as high, which the resize stage allows for; no other counter bits bring "
            "them closer to square; choose another clock or mode",
        ),
    ],
)
def test_pixels_that_are_not_square(make_board, memory, said, address: list[str], clock: str, text: str) -> None:
    board = make_board(memory(address=address, data=DATA, part="27C020"), clock=clock)
    (finding,) = said(board, "picture")
    assert finding.level == "note"
    assert finding.message == text
