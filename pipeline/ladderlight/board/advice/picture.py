"""Findings about the picture that the wiring scans out: words for every pixel, and proportions."""

from collections.abc import Iterator

import numpy as np

from ladderlight.board.advice.alternatives import Start, proportions, size_of, square_starts
from ladderlight.board.model.board import Board
from ladderlight.board.scanning.scan import scan
from ladderlight.board.scanning.separation import Counts, separating_bits
from ladderlight.errors import Finding
from ladderlight.units.words import joined

SQUARE = 0.01
"""Deviation of the pixel aspect up to which pixels pass as square."""


def findings(board: Board) -> Iterator[Finding]:
    """Yield places of the screen that cannot differ, and pixels that are not square."""
    yield from _repeats(board)
    yield from _proportions(board)


def twins(board: Board) -> tuple[tuple[int, int], tuple[int, int], int] | None:
    """Return two picture pixels (x, y) that read the same words, and the number of pixels without words of their own.

    All memories of the picture count, those that another memory addresses with the counters' part of their address.
    """
    blank = {memory.name: np.zeros(memory.words, dtype=np.uint32) for memory in board.memories}
    result = scan(board, blank, board.x_grid.samples[None, :], board.y_grid.samples[:, None], 0)
    key = np.zeros(result.codes.size, dtype=np.int64)
    for memory in board.picture_memories:
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

    def counts(pixel: tuple[int, int]) -> Counts:
        return int(board.x_grid.samples[pixel[0]]), int(board.y_grid.samples[pixel[1]]), 0

    bits = separating_bits(board, counts(first), counts(second), board.picture_memories)
    action = f"wire {joined(bits, 'or')} too" if bits else "check the gates and constants in the addresses"
    coarser = _coarser(board)
    yield Finding.caution(
        "picture",
        f"the picture does not fit: {lacking:,} of {geometry.width}x{geometry.height} pixels have no word of "
        f"their own, and {second} always shows what {first} shows; {action}"
        + (f", or use larger pixels: {coarser}" if coarser else ""),
    )


def _coarser(board: Board) -> str:
    """Return the sizes that the address lines of today would hold, if shifted up to larger pixels."""
    now = board.geometry
    lines = {line.name for memory in board.picture_memories for line in board.address_lines(memory)}
    texts = []
    for signal, shift, grid in (("x", board.x_shift, board.x_grid), ("y", board.y_shift, board.y_grid)):
        wired = [int(name[1:]) for name in lines if name[:1] == signal and name[1:].isdigit()]
        needed = int(grid.counts.max()).bit_length()
        missing = needed - 1 - max(wired, default=needed)
        if missing > 0 and len(wired) == max(wired) - min(wired) + 1:
            smaller = (int(grid.counts.max()) >> shift + missing) - (int(grid.counts.min()) >> shift + missing) + 1
            aspect = now.pixel_aspect * (2.0**missing if signal == "x" else 0.5**missing)
            other = f"x{now.height}" if signal == "x" else f"{now.width}x"
            shape = f"{smaller}{other}" if signal == "x" else f"{other}{smaller}"
            texts.append(
                f"{signal}{min(wired) + missing}-{signal}{needed - 1} gives {shape} {proportions(aspect)} pixels"
            )
    return joined(texts, "or")


def _proportions(board: Board) -> Iterator[Finding]:
    geometry = board.geometry
    if abs(geometry.pixel_aspect - 1) <= SQUARE:
        return
    starts = square_starts(board)
    ways = [_start_in_words(board, start) for start in starts]
    if not starts:
        remedy = "no other counter bits bring them closer to square; choose another clock or mode"
    elif abs(starts[0].geometry.pixel_aspect - 1) <= SQUARE:
        remedy = f"for square pixels start {joined(ways, 'or')}"
    else:
        remedy = f"for the nearest to square start {joined(ways, 'or')}"
    yield Finding.note(
        "picture",
        f"pixels are {geometry.pixel_aspect:.3g} times as wide as high, which the resize stage allows for; " + remedy,
    )


def _start_in_words(board: Board, start: Start) -> str:
    signal, shift, by = ("x", board.x_shift, start.x) if start.x else ("y", board.y_shift, start.y)
    lines = f"{abs(by)} {'more' if by < 0 else 'fewer'} address line{'s' * (abs(by) > 1)}"
    return f"{signal} at {signal}{shift + by} ({size_of(start.geometry)}, {lines})"
