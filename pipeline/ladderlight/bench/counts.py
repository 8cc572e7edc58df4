"""The counts to decode for sync, blanking and reset, and the frequencies to see on a scope."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from ladderlight.bench.connector import SYNCS
from ladderlight.bench.gates import CLOCK, LINE_CLOCK
from ladderlight.board import Board
from ladderlight.board.model.lines import LineSyntaxError, Signal, expand
from ladderlight.board.model.raster import Counter
from ladderlight.board.scanning.levels import parity_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints


class Decoded(Frozen):
    """A reading of a counter at which something begins.

    ``bits`` are the counter bits, highest first, whose AND is high at this reading for the first time since the reset;
    empty for the reset itself; None where no such gate exists and all bits must be compared, with inverters for those
    that are low. ``again`` is the reading at which that AND goes high once more before the reset, None when it does
    not.
    """

    name: str
    reading: int
    width: int
    bits: tuple[int, ...] | None
    again: int | None

    @property
    def hexadecimal(self) -> str:
        """The reading in hexadecimal: ``028Ch``."""
        return f"{self.reading:0{(self.width + 3) // 4}X}h"

    @property
    def binary(self) -> str:
        """The reading in binary, the counter's highest bit first."""
        return f"{self.reading:0{self.width}b}"


class Axis(Frozen):
    """One counter: its readings to decode, the polarity of its sync, and how often each of its bits rises, in hertz."""

    name: str
    positive: bool
    decoded: tuple[Decoded, ...]
    tones: dict[str, float]


def axes_of(board: Board) -> tuple[Axis, Axis]:
    """Return what to decode of the x and of the y counter, by their own readings: starts, resets, delays included."""
    mode = board.raster.mode
    rates = (board.raster.line_rate, board.raster.frame_rate)
    counters = (("x", board.x_counter, mode.horizontal), ("y", board.y_counter, mode.vertical))
    return tuple(  # type: ignore[return-value]
        Axis(
            name=name,
            positive=axis.positive,
            decoded=tuple(_decoded(counter)),
            tones={f"{name}{bit}": _rises(_cycle(counter) >> bit & 1) * float(rate) for bit in range(counter.bits)},
        )
        for (name, counter, axis), rate in zip(counters, rates, strict=True)
    )


def hertz_of(board: Board, line: str) -> float | None:
    """Return how often a line rises in hertz, on average over a frame.

    None where contents of a memory, a bank line or the builder's own gates decide.
    """
    fixed = {CLOCK: board.raster.clock, LINE_CLOCK: board.raster.line_rate}
    fixed |= dict(zip(SYNCS, (board.raster.line_rate, board.raster.frame_rate), strict=True))
    if line in fixed:
        return float(fixed[line])
    try:
        (expression,) = expand(line)
        parity = parity_of(board, expression)
    except (LineSyntaxError, KeyError):  # a line of gates alone
        return None
    if parity.outputs or any(signal is Signal.BANK for signal, _ in parity.counters):
        return None
    x, y = (
        _level(counter, [bit for kind, bit in parity.counters if kind is signal])
        for signal, counter in ((Signal.X, board.x_counter), (Signal.Y, board.y_counter))
    )
    frame_rate = float(board.raster.frame_rate)
    if not y.any():  # the same on every line
        return _rises(x ^ parity.level) * len(y) * frame_rate
    if not x.any():
        return _rises(y ^ parity.level) * frame_rate
    return _rises((x[None, :] ^ y[:, None] ^ parity.level).ravel()) * frame_rate


def _level(counter: Counter, bits: list[int]) -> Ints:
    cycle = _cycle(counter)
    level = np.zeros_like(cycle)
    for bit in bits:
        level ^= cycle >> bit & 1
    return level


def _cycle(counter: Counter) -> Ints:
    """Return the readings from the reset to the last one before it."""
    return counter.read(np.arange(counter.counts.total) - counter.ahead)


def _rises(level: Ints) -> int:
    """Count the steps from 0 to 1 of a level that goes round."""
    high = level == 1
    return int(np.count_nonzero(high[1:] & ~high[:-1])) + int(high[0] and not high[-1])


def _decoded(counter: Counter) -> Iterator[Decoded]:
    readings = {
        "first visible": counter.blanking_end,
        "end of visible": counter.blanking_start,
        "sync start": counter.sync_start,
        "sync end": counter.sync_end,
        "last": counter.last,
        "reset": counter.reset_to,
    }
    cycle = _cycle(counter)
    for name, reading in readings.items():
        place = int(np.flatnonzero(cycle == reading)[0])
        bits = _sufficient(cycle[:place], reading) if place else ()
        yield Decoded(
            name=name,
            reading=reading,
            width=counter.bits,
            bits=bits,
            again=_again(cycle[place:], bits) if bits else None,
        )


def _sufficient(before: Ints, reading: int) -> tuple[int, ...] | None:
    """Return the fewest high bits of a reading that no earlier one has all of; highest first, None when none do.

    Counting up from 0 that takes all of them: any fewer are a smaller number, which was there before.
    """
    high = [bit for bit in reversed(range(reading.bit_length())) if reading >> bit & 1]
    for count in range(1, len(high) + 1):
        for bits in combinations(high, count):
            mask = sum(1 << bit for bit in bits)
            if not (before & mask == mask).any():
                return bits
    return None


def _again(after: Ints, bits: tuple[int, ...]) -> int | None:
    mask = sum(1 << bit for bit in bits)
    high = after & mask == mask
    rising = np.flatnonzero(high[1:] & ~high[:-1])
    return int(after[rising[0] + 1]) if len(rising) else None
