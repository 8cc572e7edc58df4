"""What may be wrong with a chip that differs: the usual faults and pairs of them, weighed against what was found."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from hashlib import sha256
from heapq import nsmallest
from math import exp
from operator import itemgetter

import numpy as np

from ladderlight.bench.faults.lines import LineFault, address_faults, data_faults
from ladderlight.bench.pins import Pins
from ladderlight.board import Board
from ladderlight.readback.diagnosis.faults import AGAINST, Fault, Kind, chip_faults
from ladderlight.readback.diagnosis.known import other_devices
from ladderlight.readback.diagnosis.misplacement import bank_order, byte_order, piece_order, shiftable, shifted
from ladderlight.readback.dumps import Reading
from ladderlight.readback.sections import Section, mask_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags, Ints, MemoryWords, Words

SECOND = 3.0
"""What a second fault must explain more than one alone, in words."""
_PROBES = 768
_ALONE = ("blank", "all_zero", "badly_erased", "weakly_programmed")
_KEPT = 12
_SAMPLE = 1 << 12
_SHORTLIST = 12
_MOST_MISSED = 0.1
"""Share of the differences that two faults may leave: among so many pairs, one explains more than half by chance."""
_LEAST = 0.05


def possible_faults(board: Board, wanted: Words, reading: Reading, known: Sequence[Fault] = ()) -> Iterator[Fault]:
    """Yield every single fault that is worth trying, after all that a healthy chip may hold, which is ``known``.

    Shift and the order of banks and pieces are looked for in what was read; all else follows from the words that are
    ``wanted`` of the device. What was not read is taken to be as it should be.
    """
    device, found, read, mask = reading.device, reading.over(wanted), reading.read, reading.mask
    pins = Pins(board=board, device=device)
    banks, healthy = bank_order(pins, wanted, found, mask) or (None, False)
    yield from known
    if banks and healthy:
        yield banks
    yield from chip_faults(pins, wanted, found, known)
    # Before the byte order: exchanged files of even and odd bytes look the same.
    yield from piece_order(pins, wanted, found, reading)
    yield from byte_order(pins, wanted, read)
    if banks and not healthy:
        yield banks
    for view in shiftable(device, read):
        yield from shifted(pins, wanted, found, view)


def two_faults(
    pins: Pins, wanted: Words, found: Words, mask: Words, singles: Sequence[Fault], sample: Ints
) -> list[Fault]:
    """Return the pairs of faults that explain most of a sample of the words, the best first.

    ``singles`` are the faults that may be alone; those that are of no line and that more than one word speaks for are
    tried with each fault of a line.
    """
    sample = np.random.default_rng(sample.size).permutation(sample)[:_PROBES]
    seen, counts = found[sample], mask[sample]
    data, addresses = list(data_faults(pins)), list(address_faults(pins))
    lines, places = [*data, *addresses], np.arange(wanted.size)
    marked = places.astype(np.uint32)  # held at each place is its own number: what comes is where it was read
    moved = np.array([line.words(marked, sample) for line in addresses], dtype=np.int64).reshape(-1, sample.size)

    def missed(held: Words, first: int) -> list[int]:
        """Return how many words of the sample each line from ``first`` on leaves unexplained."""
        read = (line.words(held, sample) for line in data[first:])
        alone = [int(np.count_nonzero((words ^ seen) & counts)) for words in read]
        elsewhere = held[moved[max(first - len(data), 0) :]]
        return [*alone, *np.count_nonzero((elsewhere ^ seen) & counts, axis=1).tolist()]

    def counted() -> Iterator[tuple[int, int, Words, Fault | LineFault]]:
        for number, one in enumerate(lines):
            held = one.words(wanted, places)
            for at, count in enumerate(missed(held, number + 1), number + 1):
                if one.bus != lines[at].bus or not set(one.pins) & set(lines[at].pins):
                    yield count, at, held, one
        for other in singles:
            if other.kind not in _ALONE and not other.lines:
                held = other.words(places)
                yield from ((count, at, held, other) for at, count in enumerate(missed(held, 0)))

    return [
        Fault(
            kind="two_faults",
            lines=tuple(dict.fromkeys((*(one.names if isinstance(one, LineFault) else one.lines), *lines[at].names))),
            text=f"two faults: {one.text}; and {lines[at].text}",
            words=partial(lines[at].words, held),
            against=SECOND,
        )
        for _, at, held, one in nsmallest(_KEPT, counted(), key=itemgetter(0))  # of equal ones the first
    ]


class Diagnosis(Frozen):
    """What may be wrong. ``confidence`` is 0 to 1; ``explained`` the share of the differences that it accounts for."""

    kind: Kind
    lines: tuple[str, ...]
    text: str
    explained: float
    confidence: float


def diagnose(board: Board, wanted: MemoryWords, reading: Reading, known: Sequence[Fault] = ()) -> list[Diagnosis]:
    """Try the usual faults and give those that explain at least half of the differences, the likeliest first.

    ``known`` are contents that a healthy chip may hold; they and those of the other devices are tried first, and come
    first where a fault explains as much.

    Every word that a fault leaves unexplained counts a hundred to one against it; so does every difference against
    there being no single cause. Faults that lead to the very same words cannot be told apart and are all given.
    Only what was read counts; where dumps lack most of a chip, what they lack is not evidence. Even and odd dumps may
    be of chips side by side: when all that differs is in one of them, so is the fault, and when nothing explains both,
    each is tried by itself.
    """
    should = reading.device.words(wanted)
    known = (*known, *other_devices(board, reading.device, wanted))
    chips = _differing_chips(should, reading)
    if not chips:
        return _weighed_faults(board, should, reading, known)
    together = replace(reading, read=tuple(section for chip in chips for section in chip))
    found = _weighed_faults(board, should, together, known)
    if found or len(chips) == 1:
        return found
    return [
        replace(diagnosis, text=f"{chip[0].lane}: {diagnosis.text}")
        for chip in chips
        for diagnosis in _weighed_faults(board, should, replace(reading, read=chip), known)
    ]


def _weighed_faults(board: Board, should: Words, reading: Reading, known: Sequence[Fault]) -> list[Diagnosis]:
    found, mask = reading.over(should), reading.mask
    differing = int(np.count_nonzero(should != found))
    if not differing:
        return []
    sample = _sample(should, found)
    places = np.arange(should.size)

    def tried(fault: Fault) -> _Tried:
        words = (fault.words(places) ^ found) & mask  # what it leaves unexplained
        return _Tried(missed=int(np.count_nonzero(words)), fault=fault, words=words)

    singles = list(possible_faults(board, should, reading, known))
    missed = [int(np.count_nonzero((fault.words(sample) ^ found[sample]) & mask[sample])) for fault in singles]
    shortlist = [tried(singles[at]) for at in np.argsort(missed, kind="stable")[:_SHORTLIST]]
    if min(item.missed + item.fault.against for item in shortlist) > SECOND:
        pins = Pins(board=board, device=reading.device)
        pairs = map(tried, two_faults(pins, should, found, mask, singles, sample))
        shortlist += (item for item in pairs if item.missed <= _MOST_MISSED * differing)
    kept = [
        item
        for item in shortlist
        if item.missed <= differing / 2 and _has_evidence((item.words == 0) & (should != found), reading)
    ]
    return _weighed(kept, differing)


def _has_evidence(explained: Flags, reading: Reading) -> bool:
    """Whether a dump that lacks most of a chip holds at least half of the differences that a fault explains."""
    lacking = reading.mostly_left_out
    return lacking is None or bool(2 * (explained & lacking).sum() <= explained.sum())


class _Tried(Frozen, eq=False):
    missed: int
    fault: Fault
    words: Words

    @property
    def against(self) -> float:
        """What speaks against it, in words."""
        return self.missed + self.fault.against


def _differing_chips(should: Words, reading: Reading) -> list[tuple[Section, ...]]:
    if not all(section.torn for section in reading.read):
        return []
    lanes: dict[str, list[Section]] = {}
    for section in reading.read:
        lanes.setdefault(section.lane, []).append(section)
    differs = should ^ reading.over(should)
    return [tuple(chip) for chip in lanes.values() if (differs & mask_of(reading.device, chip)).any()]


def _sample(should: Words, found: Words) -> Ints:
    """Choose words to try the faults on: half of them such that differ, so that small damage is seen too."""
    random = np.random.default_rng(should.size)
    differs = np.flatnonzero(should != found)
    some = random.choice(differs, min(differs.size, _SAMPLE // 2), replace=False)
    any_ = random.choice(should.size, min(should.size, _SAMPLE), replace=False)
    return np.unique(np.concatenate([some, any_]))


def _weighed(tried: Sequence[_Tried], differing: int) -> list[Diagnosis]:
    alike: dict[tuple[float, bytes], list[_Tried]] = {}
    for item in sorted(tried, key=lambda item: item.against):
        digest = sha256(item.words.astype(np.uint32).tobytes()).digest()
        alike.setdefault((item.against, digest), []).append(item)
    # where a device holds little, many a fault would make it look blank
    classes = [[item for item in group if item.fault.kind == "blank"] or group for group in alike.values()]
    against = [group[0].against for group in classes] + [float(differing)]
    weights = [exp(-AGAINST * (count - min(against))) for count in against]
    return [
        Diagnosis(
            kind=item.fault.kind,
            lines=item.fault.lines,
            text=item.fault.text,
            explained=1 - item.missed / differing,
            confidence=weight / sum(weights) * (1 - item.missed / differing),
        )
        for weight, group in zip(weights, classes, strict=False)
        for item in group
        if weight / sum(weights) * (1 - item.missed / differing) >= _LEAST
    ]
