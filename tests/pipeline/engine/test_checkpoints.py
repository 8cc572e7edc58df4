"""Pictures kept for the next time round."""

from __future__ import annotations

import numpy as np

from ladderlight import Origin, Picture
from ladderlight.engine.checkpoints import Halfway, Shelf


def halfway(pixels: int, at: int = 2) -> Halfway:
    picture = Picture(origin=Origin(name="p", source="p.png"), pixels=np.zeros((1, pixels, 3), dtype=np.float32))
    return Halfway(at=at, pictures=[picture, picture.coded(np.zeros((1, pixels), dtype=np.uint16))])


def test_what_was_put_is_taken_once() -> None:
    shelf = Shelf()
    kept = halfway(5)
    shelf.put("p", kept)
    assert shelf.take("p") is kept
    assert shelf.take("p") is None


def test_there_is_room_for_so_many_bytes() -> None:
    """A pixel takes twelve bytes of light, and two of code."""
    shelf = Shelf(room=100)
    shelf.put("large", halfway(8))
    shelf.put("small", halfway(7))
    shelf.put("next", halfway(1))
    assert [shelf.take(name) is not None for name in ("large", "small", "next")] == [False, True, False]
    shelf.put("next", halfway(7))
    assert shelf.take("next") is not None
