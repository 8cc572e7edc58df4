"""What is noted of a stage's use of the board."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import replace

import pytest

from ladderlight import Board
from ladderlight.engine.board_use import WHOLE, BoardDigests, WatchedBoard


@pytest.mark.parametrize(
    ("use", "names"),
    [
        (lambda board: board.geometry.width * board.geometry.pixel_aspect, {"geometry"}),
        (lambda board: len(board.palette), {"palette"}),
        (lambda board: (board.geometry, board.bank_count), {"geometry", "bank_count"}),
        (lambda board: isinstance(board, Board), set()),
        (lambda board: board.memory("picture"), {WHOLE}),
        (lambda board: len({board: 1}), {WHOLE}),
        (lambda board: board == 3, {WHOLE}),
        (lambda board: vars(board), {WHOLE}),
    ],
)
def test_what_is_asked_for_is_noted(board: Board, use: Callable[[Board], object], names: set[str]) -> None:
    used: set[str] = set()
    assert str(use(WatchedBoard(board, used))) == str(use(board))
    assert used == names


def test_a_watched_board_is_the_board_in_all_else(board: Board) -> None:
    used: set[str] = set()
    seen = WatchedBoard(board, used)
    assert seen == board
    assert board == pickle.loads(pickle.dumps(seen))
    assert replace(seen, blanking="gate") == replace(board, blanking="gate")
    assert type(replace(seen, blanking="gate")) is Board
    assert WHOLE in used


def test_another_ladder_changes_the_palette_and_not_the_geometry(board: Board) -> None:
    other = replace(board, ladder=replace(board.ladder, supply=3.3))
    before, after = BoardDigests(board=board), BoardDigests(board=other)
    uses = [frozenset(names) for names in (["palette"], ["geometry"], [WHOLE], ["geometry", "palette"], [])]
    assert [before.of(used) == after.of(used) for used in uses] == [False, True, False, False, True]
    assert len({before.of(used) for used in uses}) == len(uses)
