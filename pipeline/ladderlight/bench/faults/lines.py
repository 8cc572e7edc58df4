"""Faults of a chip's address and data lines, stuck, inverted, exchanged or bridged: what each makes of the words."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import combinations
from typing import Literal, cast

import numpy as np

from ladderlight.bench.pins import Bus, ChipPin, Pins
from ladderlight.units.arrays import Ints, Words

WordsThrough = Callable[[Words, Ints], Words]
"""From the words that a chip holds and some addresses, of any shape, to the words that are read there."""
LineKind = Literal[
    "data_stuck",
    "data_inverted",
    "data_swapped",
    "data_bridged",
    "address_stuck",
    "address_inverted",
    "address_swapped",
    "address_bridged",
]


@dataclass(frozen=True, kw_only=True, eq=False)
class LineFault:
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
    width = pins.device.part.width
    for pin in range(width):
        for what, happened, words in _one_data_line(np.uint32(1 << pin)):
            yield _fault(pins, "data", (pin,), what, happened, words)
    for pair in combinations(range(width), 2):
        yield _fault(pins, "data", pair, "swapped", "exchanged", _exchanged_data(*map(np.uint32, pair)))
    for a, b in pins.neighbours("data"):
        for happened, words in _bridged_data(np.uint32(1 << a | 1 << b)):
            yield _fault(pins, "data", (a, b), "bridged", happened, words)


def address_faults(pins: Pins) -> Iterator[LineFault]:
    """Yield what stuck, inverted, exchanged and bridged address lines lead to, as :func:`data_faults`.

    The drivers of bridged lines are taken to go nowhere else.
    """
    part = pins.device.part
    whole = [pin for pin in range(part.address_pins) if part.words % (2 << pin) == 0]
    for pin in whole:
        for what, happened, at in _one_address_line(1 << pin):
            yield _fault(pins, "address", (pin,), what, happened, _elsewhere(at))
    for a, b in combinations(whole, 2):
        yield _fault(pins, "address", (a, b), "swapped", "exchanged", _elsewhere(_exchanged(a, b)))
    for a, b in pins.neighbours("address"):
        if {a, b} <= set(whole):
            for happened, at in _bridged_addresses(1 << a | 1 << b):
                yield _fault(pins, "address", (a, b), "bridged", happened, _elsewhere(at))


def selection_faults(pins: Pins, first: int) -> Iterator[LineFault]:
    """Yield what stuck and inverted lines lead to that choose one of several chips: pins ``first`` and above."""
    for pin in range(first, pins.device.part.address_pins):
        for what, happened, at in _one_address_line(1 << pin):
            yield _fault(pins, "address", (pin,), what, happened, _elsewhere(at))


def _fault(pins: Pins, bus: Bus, which: tuple[int, ...], what: str, happened: str, words: WordsThrough) -> LineFault:
    names = tuple((pins.address if bus == "address" else pins.data)(pin) for pin in which)
    text = line_text(bus, names, happened)
    kind = cast("LineKind", f"{bus}_{what}")
    return LineFault(kind=kind, bus=bus, text=text, pins=which, names=names, words=words)


def _one_data_line(bit: np.uint32) -> Iterator[tuple[str, str, WordsThrough]]:
    yield "stuck", "stuck low", lambda held, at: held[at] & ~bit
    yield "stuck", "stuck high", lambda held, at: held[at] | bit
    yield "inverted", "inverted", lambda held, at: held[at] ^ bit


def _bridged_data(both: np.uint32) -> Iterator[tuple[str, WordsThrough]]:
    def low(held: Words, at: Ints) -> Words:
        return np.where(held[at] & both == both, held[at], held[at] & ~both)

    def high(held: Words, at: Ints) -> Words:
        return np.where(held[at] & both == 0, held[at], held[at] | both)

    yield "bridged, and low wins", low
    yield "bridged, and high wins", high


def _exchanged_data(a: np.uint32, b: np.uint32) -> WordsThrough:
    def words(held: Words, at: Ints) -> Words:
        differs = (held[at] >> a ^ held[at] >> b) & np.uint32(1)
        return held[at] ^ (differs << a | differs << b)

    return words


Readdress = Callable[[Ints], Ints]


def _elsewhere(readdress: Readdress) -> WordsThrough:
    def words(held: Words, at: Ints) -> Words:
        read: Words = held[readdress(at)]
        return read

    return words


def _one_address_line(bit: int) -> Iterator[tuple[str, str, Readdress]]:
    yield "stuck", "stuck low", lambda at: at & ~bit
    yield "stuck", "stuck high", lambda at: at | bit
    yield "inverted", "inverted", lambda at: at ^ bit


def _exchanged(a: int, b: int) -> Readdress:
    def readdress(at: Ints) -> Ints:
        differs = (at >> a ^ at >> b) & 1
        return at ^ (differs << a | differs << b)

    return readdress


def _bridged_addresses(both: int) -> Iterator[tuple[str, Readdress]]:
    yield "bridged, and low wins", lambda at: np.where(at & both == both, at, at & ~both)
    yield "bridged, and high wins", lambda at: np.where(at & both == 0, at, at | both)
