"""Right contents in wrong places: bytes, banks and pieces exchanged, and everything shifted."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ladderlight.bench.pins import Pins
from ladderlight.board import Device
from ladderlight.devices.files import bytes_of, words_of
from ladderlight.readback.diagnosis.faults import Fault, fixed
from ladderlight.readback.diagnosis.shifts import shifts
from ladderlight.readback.readings import Reading
from ladderlight.readback.sections import Section, image_of
from ladderlight.units.arrays import Bytes, Floats, Ints, Words, bytes_per_word

_MOST_BANK_LINES = 6
_PROBES = 4096


def byte_order(pins: Pins, wanted: Words, read: Sequence[Section]) -> Iterator[Fault]:
    """Yield the bytes of each word, or of each pair of narrow words, in the other order."""
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
class BankOrder:
    """Banks in other places. ``healthy`` is that no bank was read twice, as it is where a bank line is stuck."""

    fault: Fault
    healthy: bool


def bank_order(pins: Pins, wanted: Words, found: Words, mask: Words) -> BankOrder | None:
    """Return the banks in the order in which they look most like what was found; None when each is in its place."""
    lines = pins.bank_pins()
    if not lines or len(lines) > _MOST_BANK_LINES or wanted.size & (wanted.size - 1):
        return None
    places = np.arange(wanted.size)
    bank = np.zeros_like(places)
    for order, (pin, _) in enumerate(lines):
        bank |= (places >> pin & 1) << order
    by_bank: Ints = np.stack([np.flatnonzero(bank == number) for number in range(1 << len(lines))])
    held = np.vstack([wanted[by_bank], np.full((1, by_bank.shape[1]), pins.ones, dtype=np.uint32)])
    step = max(1, by_bank.shape[1] // _PROBES)
    differs = found[by_bank[:, None, ::step]] ^ held[None, :, ::step]
    same: Floats = (differs & mask[by_bank[:, None, ::step]] == 0).mean(axis=2)
    source: Ints = (same + 1e-6 * np.eye(*same.shape)).argmax(axis=1)  # of equal banks, the one that belongs there
    if (source == np.arange(len(source))).all():
        return None
    words = np.empty_like(wanted)
    words[by_bank] = held[source]
    numbers = [sum((order >> i & 1) << line for i, (_, line) in enumerate(lines)) for order in range(len(source))]
    looks: list[int] = source.tolist()
    moved = [
        f"{numbers[at]} holds {numbers[came]}" if came < len(numbers) else f"{numbers[at]} is erased"
        for at, came in enumerate(looks)
        if at != came
    ]
    came = [origin for origin in looks if origin < len(numbers)]
    only_erased = all(at == origin for at, origin in enumerate(looks) if origin < len(numbers))
    prefix = "" if only_erased else "the banks are in the wrong order: "
    text = f"{prefix}bank {', '.join(moved)}"
    return BankOrder(fault=fixed("bank_order", text, words), healthy=len(set(came)) == len(came) > 0)


def piece_order(pins: Pins, wanted: Words, found: Words, reading: Reading) -> Iterator[Fault]:
    """Yield the pieces that were read, each as the one that it looks most like."""
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


def shiftable(device: Device, read: Sequence[Section]) -> list[Ints]:
    """Return the orders in which the bytes of an image may have been shifted: those of the dumps, or of all of it."""
    every = np.arange(device.part.bytes)
    if not read or all(section.whole for section in read):
        return [read[0].places if read else every]
    lanes = {section.span.first % section.span.step: section.span.step for section in read if section.torn}
    rows = [every[lane::step] for lane, step in lanes.items()] if len(lanes) == 1 else [every]
    return [*rows, read[0].places] if len(read) == 1 and read[0].size != len(rows[0]) else rows


def shifted(pins: Pins, wanted: Words, found: Words, view: Ints) -> Iterator[Fault]:
    """Yield the likeliest shifts. ``view`` gives the places of the image in the order in which they may be shifted."""
    should = image_of(wanted, pins.device)
    before, after = should[view], image_of(found, pins.device)[view]

    def seen(moved: Bytes) -> Words:
        image = should.copy()
        image[view] = moved
        return words_of(image.tobytes(), pins.device.part.width)

    for shift in shifts(before, after, bytes_per_word(pins.device.part.width)):
        yield fixed("shifted", shift.text, seen(shift.of(before)))
