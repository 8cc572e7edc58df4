"""The usual faults of chips, sockets and programmers: what each one makes of a device's words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Device
from ladderlight.board.model.lines import Signal
from ladderlight.devices.files import bytes_of, bytes_per_word, words_of
from ladderlight.readback.readings import Reading
from ladderlight.readback.sections import Section, image_of, mask_of
from ladderlight.readback.shifts import shifts
from ladderlight.units.arrays import Bytes, Words

Places = NDArray[np.int64]
WordsAt = Callable[[Places], Words]
Kind = Literal[
    "earlier_burn",
    "other_device",
    "other_recipe",
    "blank",
    "all_zero",
    "unfinished",
    "data_inverted",
    "data_reversed",
    "data_stuck",
    "data_swapped",
    "address_stuck",
    "address_inverted",
    "address_swapped",
    "byte_order",
    "bank_order",
    "piece_order",
    "shifted",
]

_MOST_BANK_LINES = 6
_PROBES = 4096


@dataclass(frozen=True, kw_only=True, eq=False)
class Fault:
    """One fault that may have happened: its ``kind``, the ``lines`` concerned, and the same in words.

    ``words`` gives what it leads to at some addresses, int64 of any shape.
    """

    kind: Kind
    text: str
    words: WordsAt = field(repr=False)
    lines: tuple[str, ...] = ()


def possible_faults(
    board: Board,
    device: Device,
    wanted: Words,
    found: Words,
    known: Sequence[Fault] = (),
    reading: Reading | None = None,
) -> Iterator[Fault]:
    """Work out every single fault that is worth trying, after all that a healthy chip may hold.

    Parameters
    ----------
    board, device
        The board and the device in question.
    wanted, found
        What the device should hold, and what it does: uint32, shape (words of the part,). Shift and the order of banks
        and pieces are looked for in what was found; all else follows from what is wanted. What was not read is found
        as it should be.
    known
        Contents that a healthy chip may hold, see :mod:`ladderlight.readback.known`.
    reading
        How the device was read, where that was in pieces or not in the order of its image.
    """
    pins = _Pins(board=board, device=device)
    read = reading.read if reading else ()
    mask = mask_of(device, read) if read else np.full_like(wanted, pins.ones)
    banks = _bank_order(pins, wanted, found, mask)
    yield from known
    if banks and banks.healthy:
        yield banks.fault
    yield fixed("blank", "the chip is blank", np.full_like(wanted, pins.ones))
    zeros = "every word reads as zero: it was never enabled or powered while it was read, or all its bits are cleared"
    yield fixed("all_zero", zeros, np.zeros_like(wanted))
    yield from _unfinished(pins, wanted, found)
    yield fixed("data_inverted", "all data lines are inverted", wanted ^ np.uint32(pins.ones))
    yield fixed("data_reversed", "the data lines are in reverse order", _reversed(wanted, device.part.width))
    yield from _data_faults(pins, wanted)
    yield from _address_faults(pins, wanted)
    if reading:  # before the byte order: exchanged files of even and odd bytes look the same
        yield from _piece_order(pins, wanted, found, reading)
    yield from _byte_order(pins, wanted, read)
    if banks and not banks.healthy:
        yield banks.fault
    for view in _views(device, read):
        yield from _shifts(pins, wanted, found, view)


def fixed(kind: Kind, text: str, words: Words) -> Fault:
    """Return a fault that leads to these words, or contents that are these words."""
    return Fault(kind=kind, text=text, words=lambda at: words[at])


def _unfinished(pins: _Pins, wanted: Words, found: Words) -> Iterator[Fault]:
    """Erased from some address on, or up to it: programming broke off, or was set to another size."""
    ones = np.uint32(pins.ones)
    written = np.flatnonzero(found != ones)
    if not written.size:
        return
    first, end = int(written[0]), int(written[-1]) + 1
    places = np.arange(wanted.size)
    for erased, where in ((places >= end, f"from {end:04X}h to the end"), (places < first, f"below {first:04X}h")):
        if (wanted[erased] != ones).any():
            text = f"erased {where}: programming stopped early, or the wrong part was selected"
            yield fixed("unfinished", text, np.where(erased, ones, wanted))


def _reversed(words: Words, width: int) -> Words:
    """Give words with their bits in the other order."""
    turned = np.zeros_like(words)
    for bit in range(width):
        turned |= (words >> np.uint32(bit) & np.uint32(1)) << np.uint32(width - 1 - bit)
    return turned


@dataclass(frozen=True, kw_only=True)
class _Pins:
    board: Board
    device: Device

    @property
    def ones(self) -> int:
        return (1 << self.device.part.width) - 1

    def data(self, pin: int) -> str:
        """Name a data pin and the line that it drives."""
        memory = self.board.memory(self.device.memory)
        bit = pin % memory.pixel_width
        name = memory.data[bit] if bit < len(memory.data) else "-"
        return f"D{pin}" if name == "-" else f"D{pin} ({name})"

    def address(self, pin: int) -> str:
        """Name an address pin and what drives it."""
        lines = self.board.memory(self.device.memory).address
        return f"A{pin} ({lines[pin]})" if pin < len(lines) else f"A{pin}"

    def bank_pins(self) -> list[tuple[int, int]]:
        """Address pins of this device that one bank line alone drives, with that line's bit of a bank's number."""
        lines = self.board.memory(self.device.memory).address[: self.device.part.address_pins]
        return [
            (pin, self.board.bank_lines.index(expression.lines[0].index))
            for pin, expression in enumerate(lines)
            if len(expression.lines) == 1 and expression.lines[0].signal is Signal.BANK
        ]


def _data_faults(pins: _Pins, wanted: Words) -> Iterator[Fault]:
    width = pins.device.part.width
    for pin in range(width):
        name = pins.data(pin)
        low, high = _stuck_data(wanted, np.uint32(1 << pin))
        yield Fault(kind="data_stuck", lines=(name,), text=f"data line {name} is stuck low", words=low)
        yield Fault(kind="data_stuck", lines=(name,), text=f"data line {name} is stuck high", words=high)
    for a, b in combinations(range(width), 2):
        names = pins.data(a), pins.data(b)
        text = f"data lines {names[0]} and {names[1]} are swapped"
        words = _swapped_data(wanted, np.uint32(a), np.uint32(b))
        yield Fault(kind="data_swapped", lines=names, text=text, words=words)


def _stuck_data(wanted: Words, bit: np.uint32) -> tuple[WordsAt, WordsAt]:
    return lambda at: wanted[at] & ~bit, lambda at: wanted[at] | bit


def _swapped_data(wanted: Words, a: np.uint32, b: np.uint32) -> WordsAt:
    def words(at: Places) -> Words:
        differs = (wanted[at] >> a ^ wanted[at] >> b) & np.uint32(1)
        return wanted[at] ^ (differs << a | differs << b)

    return words


def _address_faults(pins: _Pins, wanted: Words) -> Iterator[Fault]:
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
    """Give what can happen to one address line. Burning two words over each other leaves the bits clear in either."""

    def both(at: Places) -> Words:
        words: Words = wanted[at & ~bit] & wanted[at | bit]
        return words

    yield "is stuck low", lambda at: wanted[at & ~bit]
    yield "is stuck high", lambda at: wanted[at | bit]
    yield "was stuck or open while burning, so that two words each were burned over each other", both
    yield "was stuck low while burning, and is not now", lambda at: np.where(at & bit == 0, both(at), ones)
    yield "was stuck high while burning, and is not now", lambda at: np.where(at & bit != 0, both(at), ones)
    yield "is inverted", lambda at: wanted[at ^ bit]


def _byte_order(pins: _Pins, wanted: Words, read: Sequence[Section]) -> Iterator[Fault]:
    width = pins.device.part.width
    if width == 8 and wanted.size % 2 == 0:
        pairs = wanted.reshape(-1, 2)[:, ::-1].ravel()
        yield fixed("byte_order", "the bytes of each pair are exchanged: load the file without swapping bytes", pairs)
    elif bytes_per_word(width) > 1:
        turned = words_of(bytes_of(wanted, width, "big"), width)
        other = "--little-endian" if read and read[0].span.order == "big" else "--big-endian"
        text = f"load the file in the other one, or compare again with {other} if only the dump was saved so"
        yield fixed("byte_order", f"the bytes of each word are in reverse order: {text}", turned)


@dataclass(frozen=True, kw_only=True)
class _Banks:
    """Banks in other places. ``healthy`` is that no bank was read twice, as it is where a bank line is stuck."""

    fault: Fault
    healthy: bool


def _bank_order(pins: _Pins, wanted: Words, found: Words, mask: Words) -> _Banks | None:
    """For each bank take the one that it looks most like, or that it is erased."""
    lines = pins.bank_pins()
    if not lines or len(lines) > _MOST_BANK_LINES or wanted.size & (wanted.size - 1):
        return None
    places = np.arange(wanted.size)
    bank = np.zeros_like(places)
    for order, (pin, _) in enumerate(lines):
        bank |= (places >> pin & 1) << order
    by_bank = np.stack([np.flatnonzero(bank == number) for number in range(1 << len(lines))])
    held = np.vstack([wanted[by_bank], np.full((1, by_bank.shape[1]), pins.ones, dtype=np.uint32)])
    step = max(1, by_bank.shape[1] // _PROBES)
    differs = found[by_bank[:, None, ::step]] ^ held[None, :, ::step]
    same = (differs & mask[by_bank[:, None, ::step]] == 0).mean(axis=2)
    source = (same + 1e-6 * np.eye(*same.shape)).argmax(axis=1)  # of equal banks, the one that belongs there
    if (source == np.arange(len(source))).all():
        return None
    words = np.empty_like(wanted)
    words[by_bank] = held[source]
    numbers = [sum((order >> i & 1) << line for i, (_, line) in enumerate(lines)) for order in range(len(source))]
    moved = [
        f"{numbers[at]} holds {numbers[came]}" if came < len(numbers) else f"{numbers[at]} is erased"
        for at, came in enumerate(source.tolist())
        if at != came
    ]
    text = f"the banks are in the wrong order: bank {', '.join(moved)}"
    came = source[source < len(numbers)].tolist()
    return _Banks(fault=fixed("bank_order", text, words), healthy=len(set(came)) == len(came) > 0)


def _piece_order(pins: _Pins, wanted: Words, found: Words, reading: Reading) -> Iterator[Fault]:
    """For each piece that was read take the one that it looks most like."""
    should, image = image_of(wanted, pins.device), image_of(found, pins.device)
    moved = should.copy()
    texts = []
    for section in reading.read:
        alike = [
            other
            for other in reading.sections
            if not other.whole and (other.size, other.span.step) == (section.size, section.span.step)
        ]
        if len(alike) < 2:
            continue
        held = image[section.places]
        same = [int((should[other.places] == held).sum()) + (other is section) for other in alike]
        best = alike[same.index(max(same))]
        if best is not section:
            moved[section.places] = should[best.places]
            texts.append(f"{section.name} holds what belongs to {best.name}")
    if texts:
        words = words_of(moved.tobytes(), pins.device.part.width)
        yield fixed("piece_order", f"the pieces are mixed up: {', '.join(texts)}", words)


def _views(device: Device, read: Sequence[Section]) -> list[NDArray[np.int64]]:
    """Give the orders in which the bytes of an image may have been shifted: those of the dumps, or of all of it."""
    every = np.arange(device.part.bytes)
    if not read or all(section.whole for section in read):
        return [read[0].places if read else every]
    lanes = {section.span.first % section.span.step: section.span.step for section in read if section.torn}
    rows = [every[lane::step] for lane, step in lanes.items()] if len(lanes) == 1 else [every]
    return [*rows, read[0].places] if len(read) == 1 and read[0].size != len(rows[0]) else rows


def _shifts(pins: _Pins, wanted: Words, found: Words, view: NDArray[np.int64]) -> Iterator[Fault]:
    """Give the likeliest shifts. ``view`` gives the places of the image in the order in which they may be shifted."""
    should = image_of(wanted, pins.device)
    before, after = should[view], image_of(found, pins.device)[view]

    def seen(moved: Bytes) -> Words:
        image = should.copy()
        image[view] = moved
        return words_of(image.tobytes(), pins.device.part.width)

    for shift in shifts(before, after, bytes_per_word(pins.device.part.width)):
        yield fixed("shifted", shift.text, seen(shift.of(before)))
