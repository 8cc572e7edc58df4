from __future__ import annotations

from ladderlight.board.scanning.separation import separating_bits

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def test_bits_that_differ_and_are_in_no_address(board) -> None:
    """x2-x9, y2-y8, bank0 and bank1 are wired."""
    assert separating_bits(board, (0, 0, 0), (0, 512, 0), board.memories) == ["y9"]
    assert separating_bits(board, (0, 0, 0), (3, 4, 0), board.memories) == ["x0", "x1"]
    assert separating_bits(board, (0, 0, 0), (4, 4, 1), board.memories) == []
    assert separating_bits(board, (0, 0, 0), (4, 5, 3)) == ["x2", "y0", "y2", "bank0", "bank1"]


def test_a_bank_is_known_by_the_lines_that_are_wired(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8", "bank3"], data=DATA))
    assert separating_bits(board, (0, 0, 0), (0, 0, 1)) == ["bank3"]
    assert separating_bits(board, (0, 0, 0), (0, 0, 1), board.memories) == []
