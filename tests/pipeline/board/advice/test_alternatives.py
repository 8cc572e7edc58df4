from __future__ import annotations

import pytest

from ladderlight.board import Counters
from ladderlight.board.advice.alternatives import (
    choices,
    proportions,
    smallest_part,
    square_starts,
    without,
)

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def test_choices_give_what_the_picture_becomes(make_board, memory) -> None:
    board = make_board(memory(address=["x1-x9", "y1-y8", "bank0-bank1"], data=DATA, part="27C512"), check=False)
    found = choices(board, board.memory("picture"))
    by_dropped = {choice.dropped: choice for choice in found}
    square = by_dropped["x1", "y1", "bank1"]
    assert (square.geometry.width, square.geometry.height, square.banks) == (160, 120, 2)
    assert found[0] == square
    assert by_dropped["x1", "x2", "y1"].geometry.pixel_aspect == 2
    assert str(square) == "x1, y1 and bank1 for 160x120 square pixels in 2 banks"


def test_every_choice_fits(make_board, memory) -> None:
    board = make_board(memory(address=["x0-x9", "y0-y8"], data=DATA, part="27C256"), check=False)
    found = choices(board, board.memory("picture"))
    assert len(found) == 5  # four lines too many: none to four of them x bits
    for choice in found:
        shorter = without(board, choice.dropped).memory("picture")
        assert len(shorter.address) == 15


def test_lines_that_enter_gates_too_are_not_offered(make_board, memory) -> None:
    """Without its own pin x2 would still turn A8 round: neighbours would share a word that cannot be both."""
    address = ["x2-x9", "y2^x2", "y3-y8", "bank0"]
    board = make_board(memory(address=address, data=DATA, part="27C256"), check=False)
    assert {choice.dropped for choice in choices(board, board.memory("picture"))} == {("bank0",)}


@pytest.mark.parametrize(
    ("part", "pins", "number"),
    [("27C256", 16, "27C512"), ("27C256", 17, "27C010"), ("28C64", 15, "28C256"), ("27C1024", 17, "27C4002")],
)
def test_larger_parts_are_of_the_same_kind(memory, part: str, pins: int, number: str) -> None:
    found = smallest_part(memory(address=["x0"], data=["r0"], part=part), pins)
    assert found is not None
    assert found.number == number


def test_chip_selection_counts_among_the_pins(memory) -> None:
    found = smallest_part(memory(address=["x0"], data=["r0"], part="27C256", chips=2), 17)
    assert found is not None
    assert found.number == "27C512"


def test_no_part_is_endless(memory) -> None:
    assert smallest_part(memory(address=["x0"], data=["r0"]), 21) is None


@pytest.mark.parametrize(
    ("aspect", "text"), [(1.0, "square"), (1.005, "square"), (2.0, "2:1"), (0.5, "1:2"), (1.2598, "1.26:1")]
)
def test_proportions(aspect: float, text: str) -> None:
    assert proportions(aspect) == text


def test_square_starts(make_board, memory) -> None:
    board = make_board(memory(address=["x3-x9", "y1-y8"], data=DATA))
    finer, coarser = square_starts(board)
    assert (finer.x, finer.y) == (-2, 0)
    assert (finer.geometry.width, finer.geometry.height, finer.geometry.pixel_aspect) == (320, 240, 1)
    assert (coarser.x, coarser.y) == (0, 2)
    assert (coarser.geometry.width, coarser.geometry.height, coarser.geometry.pixel_aspect) == (80, 60, 1)


def test_square_starts_equal_the_geometry_of_a_board_wired_so(make_board, memory) -> None:
    counters = Counters(x_start=6, y_start=5)
    board = make_board(memory(address=["x2-x9", "y1-y8"], data=DATA), counters=counters)
    for start in square_starts(board):
        wired = make_board(
            memory(address=[f"x{2 + start.x}-x9", f"y{1 + start.y}-y8"], data=DATA, part="27C040"), counters=counters
        )
        assert wired.geometry == start.geometry


def test_square_pixels_need_no_other_start(board) -> None:
    assert square_starts(board) == []
