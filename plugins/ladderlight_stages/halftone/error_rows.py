"""The errors of the rows above, added to a row: a sum that the processor computes for many pixels at a time."""

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Ints
from ladderlight_stages.compiled import compiled

TOGETHER = 3
"""Taps of a kernel that are added in one pass; the number of taps must be a multiple."""
RUN_IN = 16
"""Rows above a picture, mirrored from its first, that are reduced and discarded, so that dots are even from the first
row on. An even number: rows keep their direction."""
RUN_OUT = 16
"""Rows at the foot of a picture over which the light that would be passed below it is given back."""
_STRETCH = 32  # pixels for which that light is balanced together


@compiled
def source_row(y: int, height: int) -> int:
    """Return the row of the picture that row ``y``, from ``-RUN_IN`` on, is taken from."""
    return y if y >= 0 else min(-1 - y, height - 1)


@compiled
def load_errors(errors: NDArray[np.int32], first: NDArray[np.int32], spread: NDArray[np.int32]) -> None:
    """Fill the errors of all rows, int32 (rows, 3 * pixels), with what they would be after many rows like the first.

    ``first`` are the errors of one row that had none above it, which may be one of ``errors``; ``spread``, int32 (3,),
    by gun half its largest step. The guns have the same noise, so that grey stays grey.
    """
    alone = first.copy()
    state = np.uint32(1)
    for row in range(len(errors)):
        for x in range(len(alone) // 3):
            state = np.uint32(state * np.uint32(1664525) + np.uint32(1013904223))
            for gun in range(3):
                errors[row, 3 * x + gun] = loaded(alone[3 * x + gun], spread[gun], state)


@compiled
def loaded(error: np.int32, spread: np.int32, noise: np.uint32) -> np.int32:
    """Return about what an error would be after many rows like the first.

    From no errors at all, faint light needs many rows until they add up to the first dots, which then come all at once.
    In the long run the mean error of light just above a level is nearly half a step up, just below one half a step
    down, and in the middle none (measured with Floyd and Steinberg's kernel and with Stucki's; the square root fits).
    """
    most = np.float64(spread)
    amplitude = min(np.sqrt(abs(np.float64(error)) * most), most)
    mean = most - amplitude
    change = amplitude * (np.float64(noise >> np.uint32(16)) / (1 << 15) - 1)
    return np.int32((mean if error > 0 else -mean if error < 0 else 0.0) + change)


@compiled
def limited(error: np.int32, most: np.int32) -> np.int32:
    """Return the error that a kept code passes on: at most ``most``, up or down."""
    return np.int32(max(min(error, most), -most))


@compiled
def mirror_ends(errors: NDArray[np.int32], pad: int) -> None:
    """Continue a row of errors, int32 (3 * pixels,), mirrored over the ``pad`` pixels at either end."""
    last = len(errors) // 3 - 1 - pad
    for k in range(pad):
        for gun in range(3):
            errors[3 * (pad - 1 - k) + gun] = errors[3 * min(pad + k, last) + gun]
            errors[3 * (last + 1 + k) + gun] = errors[3 * max(last - k, pad) + gun]


@compiled
def balance_of(width: int) -> Ints:
    """Return a balance without entries for ``settle``: int64 (2, stretches, 3), light received from above and given."""
    return np.zeros((2, (width + _STRETCH - 1) // _STRETCH, 3), np.int64)


@compiled
def settle(
    base: NDArray[np.int32] | NDArray[np.uint32],
    waiting: Ints,
    balance: Ints,
    rows: int,
    lowest: NDArray[np.int32] | NDArray[np.uint32],
    highest: NDArray[np.int32] | NDArray[np.uint32],
) -> None:
    """Give a row its part of the light that would be lost below the picture, beyond what the first row received.

    Error diffusion holds back light where it is faint and takes it in advance where it is nearly full, so that a
    picture that ends lighter or darker than it began would lose or gain some.

    Parameters
    ----------
    base
        int32 or uint32 (3 * width,): the row, added to, within ``lowest`` and ``highest``, both (3,).
    waiting
        int64 (3 * width,): the light that the rows above pass to this row and those below it.
    balance
        As from ``balance_of``.
    rows
        The rows left, this one included. If 0, ``waiting`` is what the first row receives, and ``base`` is not changed.
    """
    width = len(base) // 3
    for stretch in range(balance.shape[1]):
        first, end = stretch * _STRETCH, min((stretch + 1) * _STRETCH, width)
        for gun in range(3):
            total = np.int64(0)
            for x in range(first, end):
                total += waiting[3 * x + gun]
            if rows == 0:
                balance[0, stretch, gun] = total
                continue
            each = (total - balance[0, stretch, gun] - balance[1, stretch, gun]) // ((rows + 1) * (end - first))
            least, most, given = np.int64(lowest[gun]), np.int64(highest[gun]), np.int64(0)
            for x in range(first, end):
                before = np.int64(base[3 * x + gun])
                after = max(min(before + each, most), least)
                base[3 * x + gun] = after
                given += after - before
            balance[1, stretch, gun] += given


@compiled
def waiting_light(errors: NDArray[np.int32], count: int, below: NDArray[np.int32], y: int) -> Ints:
    """Return the light that the rows above row ``y`` pass to it and to those below it, int64 (count,), for ``settle``.

    It counts for the place of the pixel that it comes from; ``errors`` and ``below`` are those of ``add_error_rows``.
    """
    waiting = np.zeros(count, np.int64)
    margin = (errors.shape[1] - count) // 2
    for tap in range(len(below)):
        for up in range(1, below[tap, 0] + 1):
            row = errors[(y - up) % len(errors), margin : margin + count]
            for i in range(count):
                waiting[i] += np.int64(below[tap, 2]) * row[i]
    return waiting


@compiled
def add_error_rows(
    base: NDArray[np.int32],
    errors: NDArray[np.int32],
    below: NDArray[np.int32],
    y: int,
    serpentine: bool,  # noqa: FBT001 - compiled functions have no keyword-only parameters
) -> None:
    """Add to ``base``, row ``y`` of 3 * width samples, its shares of the errors above it.

    ``errors`` are int32 (rows, margin + 3 * width + margin), those of row r in ``errors[r % rows]``; ``below`` is int32
    (taps, 3): rows down, fewer than ``rows``, pixels ahead and share. ``serpentine``: every other row was scanned
    backwards.
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
