"""A field in which every address bit can be told apart."""

from __future__ import annotations

import numpy as np

from ladderlight import Board, CodedPicture, stage
from ladderlight.units.arrays import Floats, Ints
from ladderlight_stages.drawing.colours import codes_of_shares

_FRAME = 32
"""The bright frame takes this part of the shorter side."""
_STREAKS = ((0, 4), (4, 0))
"""Width and height of the finest blocks, as powers of two. Blur across a streak takes less than from single pixels."""
_STREAK_WEIGHT = 2
"""Against 1 of the others; measured: it doubles what a blur of one pixel leaves of the least visible exchange."""


@stage(help="A field of blocks of all sizes in all colours: each wrong address line changes it in its own way.")
def addresses(board: Board) -> CodedPicture:
    """Draw blocks of random colours, from streaks of 1 by 16 pixels up to half the picture, over each other.

    An address line that is stuck, inverted, exchanged or bridged moves pixels by the size of its bit. Blocks of every
    size show each such move, the large ones in a small or blurred photograph too. No block begins where a counter's bit
    changes, so that no exchange of pixels stays inside a block. All colours are about as frequent, so that wrong data
    lines show as well. The frame has the brighter half of the colours, so that it can be told from dark surroundings.
    """
    width, height = board.geometry.width, board.geometry.height
    shares = np.stack([_evenly(_field(width, height, gun)) for gun in range(3)], axis=-1)
    frame = max(1, min(width, height) // _FRAME)
    outside = np.ones((height, width), dtype=bool)
    outside[frame:-frame, frame:-frame] = False
    shares[outside] = (1 + shares[outside]) / 2
    return CodedPicture.of_card(codes_of_shares(board, shares))


def _field(width: int, height: int, gun: int) -> Ints:
    """Add up blocks of all sizes, each with a number of its own, 0 to 65535: int64 (height, width)."""
    squares = [(size, size) for size in range(1, max(width, height).bit_length())]
    total = np.zeros((height, width), dtype=np.int64)
    for number, (wide, high) in enumerate([*_STREAKS, *squares]):
        key = 3 * number + gun
        # Shifted by an odd number of pixels, so that no block begins where a bit of a counter changes.
        right, down = (
            int(_mixed(np.array([2 * key + axis]))[0]) % (1 << size) | 1 for axis, size in enumerate((wide, high))
        )
        across, along = np.arange(width) + right >> wide, np.arange(height) + down >> high
        weight = _STREAK_WEIGHT if number < len(_STREAKS) else 1
        total += weight * _mixed((along[:, None] << 32) + (across[None, :] << 8) + key)
    return total


def _mixed(numbers: Ints) -> Ints:
    """Return a number from 0 to 65535 for each number, as if at random: the finalizer of SplitMix64 (Steele 2014)."""
    mixed = (numbers.astype(np.uint64) + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ mixed >> np.uint64(30)) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ mixed >> np.uint64(27)) * np.uint64(0x94D049BB133111EB)
    return (mixed ^ mixed >> np.uint64(31)).astype(np.int64) & 0xFFFF


def _evenly(field: Ints) -> Floats:
    """Return the share of the pixels below each, from 0 up to 1: float64 of the field's shape."""
    order = np.argsort(field, axis=None, kind="stable")
    ranks = np.empty(field.size)
    ranks[order] = np.arange(field.size)
    return (ranks / field.size).reshape(field.shape)
