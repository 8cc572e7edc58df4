"""Faults of data and address lines on the board or in the socket of a programmer."""

from collections.abc import Iterator
from functools import partial

import numpy as np

from ladderlight.bench.faults.lines import LineFault, line_text
from ladderlight.bench.faults.lines import address_faults as wrong_addresses
from ladderlight.bench.faults.lines import data_faults as wrong_data
from ladderlight.bench.pins import Pins
from ladderlight.readback.diagnosis.faults import Fault, Places
from ladderlight.units.arrays import Words


def reversed_bits(words: Words, width: int) -> Words:
    """Return words with their bits in reverse order."""
    turned = np.zeros_like(words)
    for bit in range(width):
        turned |= (words >> np.uint32(bit) & np.uint32(1)) << np.uint32(width - 1 - bit)
    return turned


def data_faults(pins: Pins, wanted: Words) -> Iterator[Fault]:
    """Yield the faults of data lines."""
    for fault in wrong_data(pins):
        yield _of(fault, wanted)


def address_faults(pins: Pins, wanted: Words) -> Iterator[Fault]:
    """Yield the faults of address lines, those that were there while the chip was burned included."""
    for fault in wrong_addresses(pins):
        yield _of(fault, wanted)
        if fault.text.endswith("stuck low"):
            yield from _while_burning(fault, wanted, np.uint32(pins.ones))


def _of(fault: LineFault, wanted: Words) -> Fault:
    return Fault(kind=fault.kind, lines=fault.names, text=fault.text, words=partial(fault.words, wanted))


def _while_burning(fault: LineFault, wanted: Words, ones: np.uint32) -> Iterator[Fault]:
    """Yield one address line stuck while burning. Burning two words over each other leaves the bits clear in either."""
    bit = 1 << fault.pins[0]

    def both(at: Places) -> Words:
        words: Words = wanted[at & ~bit] & wanted[at | bit]
        return words

    for happened, words in (
        ("stuck or open while burning, so that two words each were burned over each other", both),
        ("stuck low while burning, and not now", lambda at: np.where(at & bit == 0, both(at), ones)),
        ("stuck high while burning, and not now", lambda at: np.where(at & bit != 0, both(at), ones)),
    ):
        text = line_text("address", fault.names, happened)
        yield Fault(kind="address_stuck", lines=fault.names, text=text, words=words)
