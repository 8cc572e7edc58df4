"""Faults of a chip, its socket or its programming: of single lines, and of chips erased or programmed badly."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import field
from functools import partial
from math import log
from typing import Literal

import numpy as np

from ladderlight.bench.faults.lines import LineFault, LineKind, address_faults, data_faults, line_text
from ladderlight.bench.pins import Pins
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints, Words
from ladderlight.units.words import address

WordsAt = Callable[[Ints], Words]
Holding = Literal["earlier_burn", "other_device", "other_recipe", "blank", "all_zero"]
Burning = Literal["unfinished", "hole", "burned_over", "badly_erased", "weakly_programmed", "part_size"]
Placing = Literal["data_reversed", "byte_order", "bank_order", "piece_order", "shifted"]
Kind = LineKind | Holding | Burning | Placing | Literal["two_faults"]
AGAINST = log(100.0)
"""How much one word that a fault does not explain speaks against it: a hundred to one."""


class Fault(Frozen, eq=False):
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


def chip_faults(pins: Pins, wanted: Words, found: Words, known: Sequence[Fault]) -> Iterator[Fault]:
    """Yield the faults of a chip, its lines and its programming; ``known`` are contents that it may have had before."""
    ones = np.full_like(wanted, pins.ones)
    yield fixed("blank", "the chip is blank", ones)
    zeros = "every word reads as zero: it was never enabled or powered while it was read, or all its bits are cleared"
    yield fixed("all_zero", zeros, np.zeros_like(wanted))
    yield from _unfinished(pins, wanted, found)
    for fault in known:
        if fault.kind == "earlier_burn":  # the bits clear in either are clear
            text = "burned over the previous build, which was not erased; erase the chip, then burn it"
            yield fixed("burned_over", text, wanted & fault.words(np.arange(wanted.size)))
    yield from _one_way(pins, wanted, found)
    yield fixed("data_inverted", "all data lines are inverted", wanted ^ ones)
    width, reverse = pins.device.part.width, np.zeros_like(wanted)
    for bit in range(width):
        reverse |= (wanted >> np.uint32(bit) & np.uint32(1)) << np.uint32(width - 1 - bit)
    yield fixed("data_reversed", "the data lines are in reverse order", reverse)
    for line in (*data_faults(pins), *address_faults(pins)):
        yield Fault(kind=line.kind, lines=line.names, text=line.text, words=partial(line.words, wanted))
        if line.bus == "address" and line.text.endswith("stuck low"):
            yield from _while_burning(line, wanted, np.uint32(pins.ones))
    yield from _smaller_part(pins, wanted)


def _while_burning(fault: LineFault, wanted: Words, ones: np.uint32) -> Iterator[Fault]:
    """Yield one address line stuck while burning. Burning two words over each other leaves the bits clear in either."""
    bit = 1 << fault.pins[0]

    def both(at: Ints) -> Words:
        words: Words = wanted[at & ~bit] & wanted[at | bit]
        return words

    for happened, words in (
        ("stuck or open while burning, so that two words each were burned over each other", both),
        ("stuck low while burning, and not now", lambda at: np.where(at & bit == 0, both(at), ones)),
        ("stuck high while burning, and not now", lambda at: np.where(at & bit != 0, both(at), ones)),
    ):
        text = line_text("address", fault.names, happened)
        yield Fault(kind="address_stuck", lines=fault.names, text=text, words=words)


def _unfinished(pins: Pins, wanted: Words, found: Words) -> Iterator[Fault]:
    ones = np.uint32(pins.ones)
    written = np.flatnonzero(found != ones)
    if not written.size:
        return
    first, end = int(written[0]), int(written[-1]) + 1
    places = np.arange(wanted.size)
    for erased, where in (
        (places >= end, f"from {address(end, wanted.size)} to the end"),
        (places < first, f"below {address(first, wanted.size)}"),
    ):
        if (wanted[erased] != ones).any():
            text = f"erased {where}: programming stopped early, or the wrong part was selected"
            yield fixed("unfinished", text, np.where(erased, ones, wanted))
    yield from _hole(wanted, written, ones)


def _hole(wanted: Words, written: Ints, ones: np.uint32) -> Iterator[Fault]:
    lacking = np.append(0, np.cumsum(wanted != ones))
    between = lacking[written[1:]] - lacking[written[:-1] + 1]
    if not between.size or not between.max():
        return
    widest = int(between.argmax())
    lost = written[widest] + 1 + np.flatnonzero(wanted[written[widest] + 1 : written[widest + 1]] != ones)
    first, last = int(lost[0]), int(lost[-1])
    words = wanted.copy()
    words[first : last + 1] = ones
    where = f"{address(first, wanted.size)} to {address(last, wanted.size)}"
    text = f"a hole, erased from {where}: these words were never programmed; burn the chip again"
    yield fixed("hole", text, words)


def _one_way(pins: Pins, wanted: Words, found: Words) -> Iterator[Fault]:
    """Yield bad erasure where all bits that differ are 0 and should be 1, and weak programming where all are 1.

    Which bits differ remains unexplained. That all go one way is as good as tossing as many coins less one.
    """
    raised, lowered = found & ~wanted, wanted & ~found
    if raised.any() == lowered.any():
        return
    differs = raised | lowered
    coins = int(np.bitwise_count(differs).sum()) - 1
    against = max(0.0, int(np.count_nonzero(differs)) - coins * log(2) / AGAINST)
    if lowered.any():
        erase = "again" if pins.device.part.erasure in ("bytes", "sectors") else "longer"
        text = f"all bits that differ are 0 and should be 1: badly erased; erase the chip {erase}, then burn it"
        yield fixed("badly_erased", text, found, against=against)
    else:
        text = "all bits that differ are 1 and should be 0: weakly programmed; burn the chip again, without erasing it"
        yield fixed("weakly_programmed", text, found, against=against)


def _smaller_part(pins: Pins, wanted: Words) -> Iterator[Fault]:
    """Yield a part of a chip that repeats, as where a programmer is set to a smaller part and its pins are fixed."""
    size = wanted.size
    for parts in (2, 4, 8):
        if size % parts or size // parts < 2:
            return
        count = size // parts
        for block in range(parts):
            held = wanted[block * count : (block + 1) * count]
            first, last = (address(place, size) for place in (block * count, (block + 1) * count - 1))
            text = (
                f"the data of {first} to {last} repeats {parts} times: the programmer was set to a smaller part; "
                f"select {pins.device.part.number}"
            )
            yield fixed("part_size", text, np.tile(held, parts))
