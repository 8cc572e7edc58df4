"""What earlier nodes have used of the board, by the stages that they went through: where to look for their results."""

from __future__ import annotations

import json
from threading import Lock

from ladderlight.cache.store import Cache
from ladderlight.engine.plan import Used
from ladderlight.system.value import digest_of

_MOST = 16


class KnownUses:
    """Sets of names of the board's properties, kept in the cache. Threads may use them at once."""

    def __init__(self, cache: Cache) -> None:
        """Take the cache."""
        self._cache = cache
        self._lock = Lock()
        self._known: dict[str, dict[Used, None]] = {}

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
            self._cache.put(_key(sort), json.dumps(names).encode())

    def _read(self, sort: str) -> dict[Used, None]:
        data = self._cache.get(_key(sort))
        return {} if data is None else {frozenset(names): None for names in json.loads(data)}


def _key(sort: str) -> str:
    return digest_of(("what is used of the board", sort))
