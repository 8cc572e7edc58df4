"""What the pages are told: how often each folder has been built, and what is wrong now."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from ladderlight.serving.site import Site

_PATIENCE = 1.0
"""Seconds to wait for readers when it ends."""


@dataclass(frozen=True, kw_only=True)
class Notice:
    """The state of a watch."""

    number: int = 0
    site: Site = field(default_factory=Site)
    builds: Mapping[str, int] = field(default_factory=dict)
    """By the names of the folders; a folder that has not been built since the watch began is not in it."""
    errors: Sequence[str] = ()
    """Lines about the last build that failed; empty once it has been put right."""

    @property
    def as_json(self) -> str:
        """What pages need of it."""
        return json.dumps({"builds": self.builds, "errors": self.errors})


class Bulletin:
    """A notice that is replaced from time to time, and those who wait for the next one."""

    def __init__(self) -> None:
        """Begin with nothing built."""
        self.notice = Notice()
        self.ended = False
        self._changed = threading.Condition()
        self._readers = 0

    def post(self, *, built: str | None = None, **changes: Any) -> None:
        """Replace fields of the notice, and count a build of a folder."""
        with self._changed:
            builds = dict(self.notice.builds)
            if built is not None:
                builds[built] = builds.get(built, 0) + 1
            self.notice = replace(self.notice, number=self.notice.number + 1, builds=builds, **changes)
            self._changed.notify_all()

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Be one of those whom the end waits for."""
        with self._changed:
            self._readers += 1
        try:
            yield
        finally:
            with self._changed:
                self._readers -= 1
                self._changed.notify_all()

    def after(self, number: int, patience: float) -> Notice | None:
        """Wait for another notice than that of a number; None if there has been none for so many seconds."""
        with self._changed:
            self._changed.wait_for(lambda: self.ended or self.notice.number != number, patience)
            return None if self.notice.number == number else self.notice

    def end(self) -> None:
        """Let all readers go, and wait until they have gone."""
        with self._changed:
            self.ended = True
            self._changed.notify_all()
            self._changed.wait_for(lambda: not self._readers, _PATIENCE)
