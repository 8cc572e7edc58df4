"""How far what was read is shifted against what should be there: agreement counted at every distance that may be."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ladderlight.devices.files import ERASED
from ladderlight.units.arrays import Bytes, Floats

_NEAR = 16
_TABLES = 8
_KEPT = 64
_MOST = 4
"""Distances that are given of those that agree in as many bytes."""


@dataclass(frozen=True, kw_only=True)
class Shift:
    """A shift by ``distance`` bytes, up where positive. ``rest`` fills what nothing was shifted to; None: it wraps.

    ``missed`` bytes are not as the shift leaves them. ``alike`` is that more distances agree in as many bytes than are
    given.
    """

    distance: int
    rest: int | None
    missed: int
    alike: bool = False

    def of(self, before: Bytes) -> Bytes:
        """Return what it makes of some bytes."""
        moved = np.roll(before, self.distance)
        if self.rest is not None:
            moved[slice(0, self.distance) if self.distance > 0 else slice(self.distance, None)] = self.rest
        return moved

    @property
    def text(self) -> str:
        """What is wrong, in words."""
        size, way = abs(self.distance), "up" if self.distance > 0 else "down"
        end = {None: ", wrapping round", ERASED: "; the rest is erased", 0x00: "; the rest is zero"}[self.rest]
        others = " (or by another distance that looks the same)" * self.alike
        return f"data shifted {way} by {size:,} byte{'s' * (size != 1)} ({size:X}h){others}{end}"


def shifts(before: Bytes, after: Bytes, word: int = 1) -> list[Shift]:
    """Return the shifts that explain most of what was read, the best first.

    For each way in which the rest may be filled these are the shifts that leave the fewest bytes unexplained, of
    several alike the shortest. ``before`` should be there, and ``after`` was read: uint8, one shape.
    """
    if before.size < 2:
        return []
    found: dict[int | None, list[Shift]] = {None: [], ERASED: [], 0x00: []}
    distances = {*_usual(before.size, word), *_by_ends(before, after), *_by_agreement(before, after)}
    for distance in sorted(distances, key=lambda distance: (abs(distance), -distance)):
        if 0 < abs(distance) < before.size:
            for shift in _counted(before, after, distance):
                if shift.rest is not None or 2 * abs(distance) <= before.size:  # round a ring the short way
                    found[shift.rest].append(shift)
    best = [shift for same in found.values() for shift in _best(same)]
    return sorted(best, key=lambda shift: shift.missed)


def _counted(before: Bytes, after: Bytes, distance: int) -> Iterator[Shift]:
    size = before.size - abs(distance)
    low, high = slice(0, size), slice(before.size - size, None)
    kept, came = (low, high) if distance > 0 else (high, low)
    missed = int(np.count_nonzero(before[kept] != after[came]))
    rest = after[: abs(distance)] if distance > 0 else after[size:]
    lost = before[size:] if distance > 0 else before[: abs(distance)]
    yield Shift(distance=distance, rest=None, missed=missed + int(np.count_nonzero(rest != lost)))
    for value in (ERASED, 0x00):
        yield Shift(distance=distance, rest=value, missed=missed + int(np.count_nonzero(rest != value)))


def _best(found: list[Shift]) -> list[Shift]:
    least = min((shift.missed for shift in found), default=0)
    best = [shift for shift in found if shift.missed == least]
    return [*best[: _MOST - 1], *(replace(shift, alike=len(best) > _MOST) for shift in best[_MOST - 1 : _MOST])]


def _usual(size: int, word: int) -> Iterator[int]:
    """Yield short distances, and powers of two in bytes and words, which the rows and banks of a board are apart."""
    powers = [unit << bit for unit in {1, word} for bit in range(size.bit_length())]
    for distance in (*range(1, _NEAR + 1), *powers):
        yield from (distance, -distance)


def _by_ends(before: Bytes, after: Bytes) -> Iterator[int]:
    """Yield the distances that make the one fill of an end grow to that which was read."""
    for value in (ERASED, 0x00):
        starts, ends = [], []
        for image in (before, after):
            other = np.flatnonzero(image != value)
            if not other.size:
                return
            starts.append(int(other[0]))
            ends.append(int(other[-1]))
        yield starts[1] - starts[0]
        yield ends[1] - ends[0]


def _by_agreement(before: Bytes, after: Bytes) -> Iterator[int]:
    """Yield the distances round a ring at which most bytes agree.

    Each value becomes 1 or -1 at random, so that equal ones add 1 to the correlation and others as often 1 as -1; the
    mean of a few such tables ranks the distances. What most of the image holds counts nothing: it agrees anywhere.
    """
    commonest = int(np.bincount(before, minlength=256).argmax())
    random = np.random.default_rng(before.size)
    total: Floats = np.zeros(before.size)
    for _ in range(_TABLES):
        table = random.choice([-1.0, 1.0], 256)
        table[commonest] = 0
        spectrum = np.conj(np.fft.rfft(table[before])) * np.fft.rfft(table[after])
        total += np.fft.irfft(spectrum, before.size)
    kept = min(_KEPT, total.size)
    for distance in np.argpartition(-total, kept - 1)[:kept].tolist():
        yield from (distance, distance - before.size)
