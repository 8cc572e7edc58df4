"""What a stage uses of the board: a board that notes which of its properties are asked for.

A result is good for every board in which these properties are the same, so that another ladder does not undo what
depends on the picture's size alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from ladderlight.board import Board
from ladderlight.system.value import digest_of

WHOLE = "digest"
"""Stands for everything about a board: its own digest."""


class _WatchedBoard(Board):
    """Looks like a board to a stage. What is asked for is noted, then answered by the board itself."""

    def __init__(self, board: Board, used: set[str]) -> None:
        object.__setattr__(self, "_board", board)
        object.__setattr__(self, "_used", used)

    def __getattribute__(self, name: str) -> Any:
        if name == "__class__":  # of which changed copies are made
            return Board
        value = getattr(_board_of(self), name)
        _note(self, WHOLE if name.startswith("_") or callable(value) else name)
        return value

    def __eq__(self, other: object) -> bool:
        _note(self, WHOLE)
        if type(other) is _WatchedBoard:
            _note(other, WHOLE)
            other = _board_of(other)
        return _board_of(self) == other

    def __hash__(self) -> int:
        _note(self, WHOLE)
        return hash(_board_of(self))


def _board_of(watched: _WatchedBoard) -> Board:
    board: Board = object.__getattribute__(watched, "_board")
    return board


def _note(watched: _WatchedBoard, name: str) -> None:
    object.__getattribute__(watched, "_used").add(name)


def watched(board: Board, used: set[str]) -> Board:
    """Return a board that adds to a set the names of the properties that are asked for."""
    return _WatchedBoard(board, used)


class BoardDigests:
    """Digests of a board's properties, each worked out once."""

    def __init__(self, board: Board) -> None:
        """Take the board."""
        self._board = board
        self._digests: dict[str, str] = {}

    def of(self, names: Iterable[str]) -> tuple[tuple[str, str], ...]:
        """Return the names, sorted, each with the digest of what the board has there."""
        return tuple((name, self._digest(name)) for name in sorted(names))

    def _digest(self, name: str) -> str:
        if name not in self._digests:
            try:
                self._digests[name] = digest_of(getattr(self._board, name))
            except (AttributeError, TypeError):
                self._digests[name] = self._board.digest
        return self._digests[name]
