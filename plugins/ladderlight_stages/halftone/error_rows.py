"""The errors of the rows above, added to a row: a sum that the processor computes for many pixels at a time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight_stages.compiled import compiled

TOGETHER = 3
"""Taps of a kernel that are added in one pass; the number of taps must be a multiple."""


@compiled
def add_error_rows(
    base: NDArray[np.int32],
    errors: NDArray[np.int32],
    below: NDArray[np.int32],
    y: int,
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
) -> None:
    """Add to row ``y`` its shares of the errors above it.

    Parameters
    ----------
    base
        int32 (3 * width,): the row, added to.
    errors
        int32 (rows, margin + 3 * width + margin): the errors of row r, in ``errors[r % rows]``; zero in the margins and
        where no row has been.
    below
        int32 (taps, 3): rows down, pixels ahead and share; rows down are fewer than ``rows``.
    y, serpentine
        The row, and whether every other row was scanned backwards.
    """
    count = len(base)
    for tap in range(0, len(below), TOGETHER):
        one, two, three = below[tap], below[tap + 1], below[tap + 2]
        first = _row_above(errors, count, one, y, serpentine)
        second = _row_above(errors, count, two, y, serpentine)
        third = _row_above(errors, count, three, y, serpentine)
        for i in range(count):
            base[i] += one[2] * first[i] + two[2] * second[i] + three[2] * third[i]


@compiled
def _row_above(
    errors: NDArray[np.int32],
    count: int,
    tap: NDArray[np.int32],
    y: int,
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
) -> NDArray[np.int32]:
    """Return the errors that a tap adds to each place of row ``y``."""
    above, right = y - tap[0], tap[1]
    back = serpentine and above % 2 == 1
    first = (errors.shape[1] - count) // 2 + (3 * right if back else -3 * right)
    return errors[above % len(errors), first : first + count]
