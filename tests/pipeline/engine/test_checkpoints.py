"""Pictures kept for the next time round."""

from __future__ import annotations

import numpy as np

from ladderlight import Origin, Picture
from ladderlight.engine.checkpoints import Checkpoint, CheckpointStore


def checkpoint(pixels: int, at: int = 2) -> Checkpoint:
    picture = Picture(origin=Origin(name="p", source="p.png"), pixels=np.zeros((1, pixels, 3), dtype=np.float32))
    return Checkpoint(at=at, pictures=[picture, picture.coded(np.zeros((1, pixels), dtype=np.uint16))])


def test_what_was_put_is_taken_once() -> None:
    store = CheckpointStore()
    kept = checkpoint(5)
    store.put("p", kept)
    assert store.take("p") is kept
    assert store.take("p") is None


def test_there_is_room_for_so_many_bytes() -> None:
    """A pixel takes twelve bytes of light, and two of code."""
    store = CheckpointStore(room=100)
    store.put("large", checkpoint(8))
    store.put("small", checkpoint(7))
    store.put("next", checkpoint(1))
    assert [store.take(name) is not None for name in ("large", "small", "next")] == [False, True, False]
    store.put("next", checkpoint(7))
    assert store.take("next") is not None
