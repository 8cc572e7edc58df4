"""Faults of data and address lines: stuck, swapped, inverted, reversed, bridged."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from ladderlight.readback.diagnosis.faults import Fault, Kind, Pins, Places, WordsAt
from ladderlight.units.arrays import Words


def reversed_bits(words: Words, width: int) -> Words:
    """Return words with their bits in reverse order."""
    turned = np.zeros_like(words)
    for bit in range(width):
        turned |= (words >> np.uint32(bit) & np.uint32(1)) << np.uint32(width - 1 - bit)
    return turned


def data_faults(pins: Pins, wanted: Words) -> Iterator[Fault]:
    """Yield what stuck, inverted, swapped and bridged data lines lead to, each line, each pair and each two adjacent.

    Of two outputs that are bridged, the one that drives low or the one that drives high wins.
    """
    width = pins.device.part.width
    for pin in range(width):
        name = pins.data(pin)
        low, high, inverted = _one_data_line(wanted, np.uint32(1 << pin))
        yield Fault(kind="data_stuck", lines=(name,), text=f"data line {name} is stuck low", words=low)
        yield Fault(kind="data_stuck", lines=(name,), text=f"data line {name} is stuck high", words=high)
        yield Fault(kind="data_inverted", lines=(name,), text=f"data line {name} is inverted", words=inverted)
    for a, b in combinations(range(width), 2):
        names = pins.data(a), pins.data(b)
        text = f"data lines {names[0]} and {names[1]} are swapped"
        words = _swapped_data(wanted, np.uint32(a), np.uint32(b))
        yield Fault(kind="data_swapped", lines=names, text=text, words=words)

    for a in range(width - 1):
        names = pins.data(a), pins.data(a + 1)
        for level, words in zip(("low", "high"), _bridged_data(wanted, np.uint32(3 << a)), strict=True):
            text = f"data lines {names[0]} and {names[1]} are bridged, and {level} wins"
            yield Fault(kind="data_bridged", lines=names, text=text, words=words)


def _one_data_line(wanted: Words, bit: np.uint32) -> tuple[WordsAt, WordsAt, WordsAt]:
    return lambda at: wanted[at] & ~bit, lambda at: wanted[at] | bit, lambda at: wanted[at] ^ bit


def _bridged_data(wanted: Words, both: np.uint32) -> tuple[WordsAt, WordsAt]:
    def low(at: Places) -> Words:
        return np.where(wanted[at] & both == both, wanted[at], wanted[at] & ~both)

    def high(at: Places) -> Words:
        return np.where(wanted[at] & both == 0, wanted[at], wanted[at] | both)

    return low, high


def _swapped_data(wanted: Words, a: np.uint32, b: np.uint32) -> WordsAt:
    def words(at: Places) -> Words:
        differs = (wanted[at] >> a ^ wanted[at] >> b) & np.uint32(1)
        return wanted[at] ^ (differs << a | differs << b)

    return words


def address_faults(pins: Pins, wanted: Words) -> Iterator[Fault]:
    """Yield what stuck, inverted and swapped address lines lead to, each line and each pair."""
    whole = [pin for pin in range(pins.device.part.address_pins) if wanted.size % (2 << pin) == 0]
    for pin in whole:
        name = pins.address(pin)
        for text, words in _one_line(wanted, 1 << pin, np.uint32(pins.ones)):
            kind: Kind = "address_inverted" if text == "is inverted" else "address_stuck"
            yield Fault(kind=kind, lines=(name,), text=f"address line {name} {text}", words=words)
    for a, b in combinations(whole, 2):
        names = pins.address(a), pins.address(b)
        text = f"address lines {names[0]} and {names[1]} are swapped"
        yield Fault(kind="address_swapped", lines=names, text=text, words=_swapped_address(wanted, a, b))


def _swapped_address(wanted: Words, a: int, b: int) -> WordsAt:
    def words(at: Places) -> Words:
        differs = (at >> a ^ at >> b) & 1
        swapped: Words = wanted[at ^ (differs << a | differs << b)]
        return swapped

    return words


def _one_line(wanted: Words, bit: int, ones: np.uint32) -> Iterator[tuple[str, WordsAt]]:
    """Yield what can happen to one address line. Burning two words over each other leaves the bits clear in either."""

    def both(at: Places) -> Words:
        words: Words = wanted[at & ~bit] & wanted[at | bit]
        return words

    yield "is stuck low", lambda at: wanted[at & ~bit]
    yield "is stuck high", lambda at: wanted[at | bit]
    yield "was stuck or open while burning, so that two words each were burned over each other", both
    yield "was stuck low while burning, and is not now", lambda at: np.where(at & bit == 0, both(at), ones)
    yield "was stuck high while burning, and is not now", lambda at: np.where(at & bit != 0, both(at), ones)
    yield "is inverted", lambda at: wanted[at ^ bit]
