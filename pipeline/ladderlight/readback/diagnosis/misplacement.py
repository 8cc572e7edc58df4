"""Right contents in wrong places: bytes, banks and pieces exchanged, and everything shifted."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from ladderlight.bench.pins import Pins
from ladderlight.board import Device
from ladderlight.devices.files import ERASED, bytes_of, words_of
from ladderlight.readback.diagnosis.faults import Fault, fixed
from ladderlight.readback.dumps import Reading
from ladderlight.readback.sections import Section, image_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Bytes, Floats, Ints, Words, bytes_per_word

_MOST_BANK_LINES = 6
_PROBES = 4096
_NEAR = 16
_TABLES = 8
_KEPT = 64
_MOST = 4  # distances that are given of those that agree in as many bytes


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


def bank_order(pins: Pins, wanted: Words, found: Words, mask: Words) -> tuple[Fault, bool] | None:
    """Return the banks in the order in which they look most like what was found; None when each is in its place.

    With it comes whether that is healthy: no bank was read twice, as it is where a bank line is stuck.
    """
    lines = pins.bank_pins()
    if not lines or len(lines) > _MOST_BANK_LINES or wanted.size & (wanted.size - 1):
        return None
    places = np.arange(wanted.size)
    bank = sum((places >> pin & 1) << order for order, (pin, _) in enumerate(lines))
    by_bank: Ints = np.argsort(bank, kind="stable").reshape(1 << len(lines), -1)
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
    return fixed("bank_order", text, words), len(set(came)) == len(came) > 0


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
    width, should = pins.device.part.width, image_of(wanted, pins.device)
    before, after = should[view], image_of(found, pins.device)[view]
    for shift in shifts(before, after, bytes_per_word(width)):
        image = should.copy()
        image[view] = shift.of(before)
        yield fixed("shifted", shift.text, words_of(image.tobytes(), width))


class Shift(Frozen):
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
        old, new = (np.flatnonzero(image != value) for image in (before, after))
        if not (old.size and new.size):
            return
        yield from (int(new[end] - old[end]) for end in (0, -1))


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
