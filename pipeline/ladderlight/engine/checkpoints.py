"""Checkpoints: pictures on their way through a chain, kept for the next pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

from ladderlight.flow.pictures import CodedPicture, Picture

ROOM = 256 << 20
"""Bytes of pixels and codes; 360 pictures of 256x240, or one of 22 megapixels."""


@dataclass(frozen=True, kw_only=True)
class Checkpoint:
    """The pictures of a file before the stage of an index."""

    at: int
    pictures: Sequence[Picture | CodedPicture]


class CheckpointStore:
    """Keeps the pictures of as many files as there is room for. Threads may use it at once."""

    def __init__(self, room: int = ROOM) -> None:
        """Make an empty store with room for so many bytes."""
        self._lock = Lock()
        self._room = room
        self._kept: dict[str, Checkpoint] = {}

    def put(self, name: str, checkpoint: Checkpoint) -> None:
        """Keep the pictures of a file, if there is room."""
        size = sum(map(_size, checkpoint.pictures))
        with self._lock:
            if size <= self._room:
                self._room -= size
                self._kept[name] = checkpoint

    def take(self, name: str) -> Checkpoint | None:
        """Return the pictures of a file, if they were kept, and keep them no longer."""
        with self._lock:
            checkpoint = self._kept.pop(name, None)
            if checkpoint is not None:
                self._room += sum(map(_size, checkpoint.pictures))
        return checkpoint


def _size(picture: Picture | CodedPicture) -> int:
    return picture.pixels.nbytes if isinstance(picture, Picture) else picture.codes.nbytes
