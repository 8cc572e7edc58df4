"""What stages use of the board: a board that notes which of its properties are asked for, and what earlier ones used.

A result is good for every board in which these properties are the same, so that another ladder does not undo what
depends on the picture's size alone.
"""

from __future__ import annotations

import json
from dataclasses import field
from threading import Lock
from typing import TYPE_CHECKING, Any

from ladderlight.board import Board
from ladderlight.system.frozen import Frozen
from ladderlight.system.value import digest_of

if TYPE_CHECKING:  # a check needs no cache
    from ladderlight.cache.store import Cache

WHOLE = "digest"
"""Stands for everything about a board: its own digest."""
_MOST = 16

Used = frozenset[str]
"""Names of properties of the board."""
_own = object.__getattribute__


class WatchedBoard(Board):
    """Looks like a board to a stage. The names of what is asked for go into a set; the board itself answers."""

    def __init__(self, board: Board, used: set[str]) -> None:
        object.__setattr__(self, "_board", board)
        object.__setattr__(self, "_used", used)

    def __getattribute__(self, name: str) -> Any:
        if name == "__class__":  # of which changed copies are made
            return Board
        value = getattr(_own(self, "_board"), name)
        _own(self, "_used").add(WHOLE if name[0] == "_" or callable(value) else name)
        return value

    def __eq__(self, other: object) -> bool:
        _note(self, WHOLE)
        if type(other) is WatchedBoard:
            _note(other, WHOLE)
            other = _board_of(other)
        return _board_of(self) == other

    def __hash__(self) -> int:
        _note(self, WHOLE)
        return hash(_board_of(self))


def _board_of(watched: WatchedBoard) -> Board:
    board: Board = _own(watched, "_board")
    return board


def _note(watched: WatchedBoard, name: str) -> None:
    _own(watched, "_used").add(name)


class BoardDigests(Frozen, eq=False):
    """Digests of a board's properties, each worked out once."""

    board: Board
    _digests: dict[str, str] = field(default_factory=dict)
    _of_uses: dict[Used, str] = field(default_factory=dict)

    def of(self, used: Used) -> str:
        """Return the digest of the names, sorted, and of what the board has there."""
        if used not in self._of_uses:
            self._of_uses[used] = digest_of([(name, self._digest(name)) for name in sorted(used)])
        return self._of_uses[used]

    def _digest(self, name: str) -> str:
        if name not in self._digests:
            try:
                self._digests[name] = digest_of(getattr(self.board, name))
            except (AttributeError, TypeError):
                self._digests[name] = self.board.digest
        return self._digests[name]


class KnownUses(Frozen, eq=False):
    """What earlier nodes have used, by the stages that they went through, kept in the cache. Threads may share it."""

    cache: Cache
    _lock: Lock = field(default_factory=Lock)
    _known: dict[str, dict[Used, None]] = field(default_factory=dict)

    def of(self, sort: str) -> list[Used]:
        """Return what nodes of a sort have used, the latest first."""
        with self._lock:
            if sort not in self._known:
                self._known[sort] = self._read(sort)
            return list(self._known[sort])

    def add(self, sort: str, used: Used) -> None:
        """Note what a node has used."""
        if used in self.of(sort):
            return
        with self._lock:
            uses = {used: None} | self._known[sort] | self._read(sort)
            self._known[sort] = dict(list(uses.items())[:_MOST])
            names = [sorted(each) for each in self._known[sort]]
            self.cache.put(_key(sort), json.dumps(names).encode())

    def _read(self, sort: str) -> dict[Used, None]:
        data = self.cache.get(_key(sort))
        return {} if data is None else {frozenset(names): None for names in json.loads(data)}


def _key(sort: str) -> str:
    return digest_of(("what is used of the board", sort))
