"""Faults of a chip's address and data lines, stuck, inverted, exchanged or bridged: what each makes of the words."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import field
from functools import partial
from itertools import combinations
from typing import Any, Literal, cast

import numpy as np

from ladderlight.bench.pins import Bus, ChipPin, Pins
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints, Words

WordsThrough = Callable[[Words, Ints], Words]
"""From the words that a chip holds and some addresses, of any shape, to the words that are read there."""
Change = Callable[[Any], Any]
"""What a fault makes of the values on a bus, addresses or words."""
LineKind = (
    Literal["data_stuck", "data_inverted", "data_swapped", "data_bridged"]
    | Literal["address_stuck", "address_inverted", "address_swapped", "address_bridged"]
)


class LineFault(Frozen, eq=False):
    """One fault of address or data lines of one chip: its ``kind``, the ``pins`` of which ``bus``, and it in words.

    ``words`` gives what is read, from what the chip holds.
    """

    kind: LineKind
    bus: Bus
    text: str
    pins: tuple[int, ...]
    names: tuple[str, ...]
    words: WordsThrough = field(repr=False)

    def chips(self, pins: Pins) -> tuple[ChipPin, ...]:
        """Return the pins to check."""
        return tuple(pins.at(self.bus, pin) for pin in self.pins)


def line_text(bus: Bus, names: tuple[str, ...], happened: str) -> str:
    """Return a fault in words: ``address line A3 (x5) stuck low``."""
    return f"{bus} line{'s' * (len(names) > 1)} {' and '.join(names)} {happened}"


def data_faults(pins: Pins) -> Iterator[LineFault]:
    """Yield what stuck, inverted, exchanged and bridged data lines lead to: each line, each pair, each two neighbours.

    Of two outputs that are bridged, the one that drives low or the one that drives high wins.
    """
    return _faults(pins, "data", range(pins.device.part.width))


def address_faults(pins: Pins) -> Iterator[LineFault]:
    """Yield what stuck, inverted, exchanged and bridged address lines lead to, as :func:`data_faults`.

    The drivers of bridged lines are taken to go nowhere else.
    """
    part = pins.device.part
    return _faults(pins, "address", [pin for pin in range(part.address_pins) if part.words % (2 << pin) == 0])


def selection_faults(pins: Pins, first: int) -> Iterator[LineFault]:
    """Yield what stuck and inverted lines lead to that choose one of several chips: pins ``first`` and above."""
    return _of_one(pins, "address", range(first, pins.device.part.address_pins))


def _faults(pins: Pins, bus: Bus, lines: Sequence[int]) -> Iterator[LineFault]:
    yield from _of_one(pins, bus, lines)
    for a, b in combinations(lines, 2):
        yield _fault(pins, bus, (a, b), "swapped", "exchanged", _exchanged(a, b))
    for a, b in pins.neighbours(bus):
        if a in lines and b in lines:
            for happened, change in _bridged(a, b):
                yield _fault(pins, bus, (a, b), "bridged", happened, change)


def _fault(pins: Pins, bus: Bus, which: tuple[int, ...], what: str, happened: str, change: Change) -> LineFault:
    names = tuple(pins.name(bus, pin) for pin in which)

    def words(held: Words, at: Ints) -> Words:
        read: Words = held[change(at)] if bus == "address" else change(held[at])
        return read

    text = line_text(bus, names, happened)
    return LineFault(kind=cast("LineKind", f"{bus}_{what}"), bus=bus, text=text, pins=which, names=names, words=words)


def _of_one(pins: Pins, bus: Bus, lines: Sequence[int]) -> Iterator[LineFault]:
    for line in lines:
        bit = np.uint32(1 << line)
        yield _fault(pins, bus, (line,), "stuck", "stuck low", partial(np.bitwise_and, ~bit))
        yield _fault(pins, bus, (line,), "stuck", "stuck high", partial(np.bitwise_or, bit))
        yield _fault(pins, bus, (line,), "inverted", "inverted", partial(np.bitwise_xor, bit))


def _exchanged(a: int, b: int) -> Change:
    low, high = np.uint32(a), np.uint32(b)

    def change(values: Any) -> Any:
        differs = (values >> low ^ values >> high) & np.uint32(1)
        return values ^ (differs << low | differs << high)

    return change


def _bridged(a: int, b: int) -> Iterator[tuple[str, Change]]:
    both = np.uint32(1 << a | 1 << b)
    yield "bridged, and low wins", lambda values: np.where(values & both == both, values, values & ~both)
    yield "bridged, and high wins", lambda values: np.where(values & both == 0, values, values | both)
