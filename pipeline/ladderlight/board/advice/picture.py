"""Findings about the picture that the wiring scans out: words for every pixel, and proportions."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ladderlight.board.board import Board
from ladderlight.board.findings import Finding
from ladderlight.board.scan import scan

SQUARE = 0.01
"""Deviation of the pixel aspect up to which pixels pass as square."""


def findings(board: Board) -> Iterator[Finding]:
    """Say when parts of the screen cannot differ, and when pixels are not square."""
    yield from _repeats(board)
    geometry = board.geometry
    if abs(geometry.pixel_aspect - 1) > SQUARE:
        shape = "wide" if geometry.pixel_aspect > 1 else "narrow"
        yield Finding(
            level="note",
            where="picture",
            message=f"pixels are {geometry.pixel_aspect:.3g} times as wide as high ({shape}); the resize stage allows "
            "for it, but a picture pixel by pixel comes out distorted",
        )


def twins(board: Board) -> tuple[tuple[int, int], tuple[int, int], int] | None:
    """Find two picture pixels (x, y) that read the same words, and how many pixels lack words of their own.

    All memories count, those that another memory addresses with what the counters contribute to their address.
    """
    blank = {memory.name: np.zeros(memory.words, dtype=np.uint32) for memory in board.memories}
    result = scan(board, blank, board.x_grid.samples[None, :], board.y_grid.samples[:, None], 0)
    key = np.zeros(result.codes.size, dtype=np.int64)
    for memory in board.memories:
        slots = memory.packing.pixels
        place = result.addresses[memory.name].ravel() * slots + result.slots[memory.name].ravel()
        _, compact = np.unique(place, return_inverse=True)
        _, key = np.unique(key * (int(compact.max()) + 1) + compact, return_inverse=True)
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    lacking = key.size - first.size
    if not lacking:
        return None
    later = int(np.flatnonzero(first[inverse] != np.arange(key.size))[0])
    width = board.geometry.width
    earlier = int(first[inverse[later]])
    return (earlier % width, earlier // width), (later % width, later // width), lacking


def _repeats(board: Board) -> Iterator[Finding]:
    found = twins(board)
    if found is None:
        return
    first, second, lacking = found
    geometry = board.geometry
    yield Finding(
        level="error",
        where="picture",
        message=f"{lacking:,} of {geometry.width}x{geometry.height} pixels have no word of their own: {second} always "
        f"shows what {first} shows; wire one more counter bit, or leave out the lowest one for larger pixels",
    )
