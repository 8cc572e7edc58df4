"""Pictures on their way through a chain, kept for the next time round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

from ladderlight.flow.pictures import CodedPicture, Picture

ROOM = 256 << 20
"""Bytes of pixels and codes; 360 pictures of 256x240, or one of 22 megapixels."""


@dataclass(frozen=True, kw_only=True)
class Halfway:
    """The pictures of a file before the stage of an index."""

    at: int
    pictures: Sequence[Picture | CodedPicture]


class Shelf:
    """Keeps the pictures of as many files as there is room for. Threads may use it at once."""

    def __init__(self, room: int = ROOM) -> None:
        """Make an empty one with room for so many bytes."""
        self._lock = Lock()
        self._room = room
        self._kept: dict[str, Halfway] = {}

    def put(self, name: str, halfway: Halfway) -> None:
        """Keep the pictures of a file, if there is room."""
        size = sum(map(_size, halfway.pictures))
        with self._lock:
            if size <= self._room:
                self._room -= size
                self._kept[name] = halfway

    def take(self, name: str) -> Halfway | None:
        """Give the pictures of a file, if they were kept, and keep them no longer."""
        with self._lock:
            halfway = self._kept.pop(name, None)
            if halfway is not None:
                self._room += sum(map(_size, halfway.pictures))
        return halfway


def _size(picture: Picture | CodedPicture) -> int:
    return picture.pixels.nbytes if isinstance(picture, Picture) else picture.codes.nbytes
