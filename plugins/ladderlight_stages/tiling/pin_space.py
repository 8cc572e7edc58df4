"""Sums of lines modulo two: which address pins a set of lines can turn, and which lines turn them.

A pin is driven by the exclusive-or of lines, so an address is a linear function of the lines over the field of two
elements. A set of pins is a number: bit i for pin i.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Ints


@dataclass(frozen=True)
class PinSpace:
    """All sums modulo two of some sets of pins.

    ``basis`` are the sets that are not a sum of earlier ones, in the order given; ``picked`` their indices among all.
    """

    basis: tuple[int, ...]
    picked: tuple[int, ...]
    _rows: tuple[tuple[int, int, int], ...]
    """Highest pin, pins, and which of the basis they are the sum of; highest pins descending."""

    def __len__(self) -> int:
        """Return how many sums there are."""
        return 1 << len(self.basis)

    def __contains__(self, pins: int) -> bool:
        """Whether a set of pins is such a sum."""
        return _reduce(pins, self._rows)[0] == 0

    def coordinates(self, pins: Ints) -> tuple[Ints, Ints]:
        """Return, for sets of pins, the sum of basis sets nearest to each, and the rest; both of the shape of ``pins``.

        Bit i of a coordinate is set where ``basis[i]`` is in the sum. The rest is the same for all sets that differ by
        a sum of the basis.
        """
        left = pins.astype(np.int64, copy=True)
        coordinates = np.zeros_like(left)
        for high, row, combination in self._rows:
            has = left >> high & 1
            left ^= has * row
            coordinates ^= has * combination
        return coordinates, left

    def pins(self, coordinates: Ints) -> Ints:
        """Return the sums of basis sets with some coordinates."""
        return combine(coordinates, self.basis)


def combine(coordinates: NDArray[np.integer], sets: Sequence[int]) -> Ints:
    """Add up modulo two those sets whose bits are set in each coordinate; int64, the shape of ``coordinates``."""
    wide = coordinates.astype(np.int64)
    total = np.zeros_like(wide)
    for index, pins in enumerate(sets):
        if pins:
            total ^= (wide >> index & 1) * pins
    return total


def space_of(sets: Iterable[int]) -> PinSpace:
    """Return the space of all sums of some sets of pins."""
    rows: list[tuple[int, int, int]] = []
    basis: list[int] = []
    picked: list[int] = []
    for index, pins in enumerate(sets):
        left, combination = _reduce(pins, rows)
        if not left:
            continue
        rows.append((left.bit_length() - 1, left, combination | 1 << len(basis)))
        rows.sort(reverse=True)
        basis.append(pins)
        picked.append(index)
    return PinSpace(tuple(basis), tuple(picked), tuple(rows))


def differences(pins: Ints) -> list[int]:
    """Return a basis of the space that the given sets of pins, int64 of any shape, lie in."""
    found: list[int] = []
    left = np.unique(pins)
    while True:
        left = left[left != 0]
        if not left.size:
            return found
        found.append(int(left[0]))
        _, left = space_of(found).coordinates(left)
        left = np.unique(left)


def common(one: PinSpace, other: PinSpace) -> list[int]:
    """Return a basis of the sums that two spaces have in common (Zassenhaus' sum and intersection of spaces)."""
    rows: list[tuple[int, int, int]] = []
    shared = []
    width = max((pins.bit_length() for pins in (*one.basis, *other.basis)), default=0)
    for pins in (*((p, p) for p in one.basis), *((p, 0) for p in other.basis)):
        joined = pins[0] << width | pins[1]
        left, _ = _reduce(joined, rows)
        if not left:
            continue
        rows.append((left.bit_length() - 1, left, 0))
        rows.sort(reverse=True)
    for _, row, _ in rows:
        if row >> width == 0:
            shared.append(row)
    return sorted(shared)


def _reduce(pins: int, rows: Iterable[tuple[int, int, int]]) -> tuple[int, int]:
    combination = 0
    for high, row, sums in rows:
        if pins >> high & 1:
            pins ^= row
            combination ^= sums
    return pins, combination
