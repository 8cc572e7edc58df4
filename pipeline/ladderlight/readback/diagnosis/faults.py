"""Faults of a chip, its socket or its programming, those of single lines among them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from math import log
from typing import Literal

import numpy as np

from ladderlight.bench.faults.lines import LineFault, LineKind, address_faults, data_faults, line_text
from ladderlight.bench.pins import Pins
from ladderlight.units.arrays import Ints, Words

Places = Ints
WordsAt = Callable[[Places], Words]
Holding = Literal["earlier_burn", "other_device", "other_recipe", "blank", "all_zero"]
Burning = Literal["unfinished", "hole", "burned_over", "badly_erased", "weakly_programmed", "part_size"]
Placing = Literal["data_reversed", "byte_order", "bank_order", "piece_order", "shifted"]
Kind = LineKind | Holding | Burning | Placing | Literal["two_faults"]
AGAINST = log(100.0)
"""How much one word that a fault does not explain speaks against it: a hundred to one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fault:
    """One fault that may have happened: its ``kind``, the ``lines`` concerned, and the same in words.

    ``words`` gives what it leads to at some addresses, int64 of any shape. ``against`` is how little it is to be
    expected, in words left unexplained.
    """

    kind: Kind
    text: str
    words: WordsAt = field(repr=False)
    lines: tuple[str, ...] = ()
    against: float = 0.0


def fixed(kind: Kind, text: str, words: Words, *, against: float = 0.0) -> Fault:
    """Return a fault that leads to these words, or contents that are these words."""
    return Fault(kind=kind, text=text, words=lambda at: words[at], against=against)


def reversed_bits(words: Words, width: int) -> Words:
    """Return words with their bits in reverse order."""
    turned = np.zeros_like(words)
    for bit in range(width):
        turned |= (words >> np.uint32(bit) & np.uint32(1)) << np.uint32(width - 1 - bit)
    return turned


def line_faults(pins: Pins, wanted: Words) -> Iterator[Fault]:
    """Yield the faults of data and address lines, also those that were there only while the chip was burned."""
    for fault in (*data_faults(pins), *address_faults(pins)):
        yield Fault(kind=fault.kind, lines=fault.names, text=fault.text, words=partial(fault.words, wanted))
        if fault.bus == "address" and fault.text.endswith("stuck low"):
            yield from _while_burning(fault, wanted, np.uint32(pins.ones))


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
