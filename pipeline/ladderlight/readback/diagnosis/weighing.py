"""What may be wrong with a chip that differs: the usual faults, each weighed against what was found."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp

import numpy as np

from ladderlight.bench.pins import Pins
from ladderlight.board import Board, Device
from ladderlight.readback.diagnosis.candidates import possible_faults
from ladderlight.readback.diagnosis.faults import AGAINST, Fault, Kind
from ladderlight.readback.diagnosis.known import other_devices
from ladderlight.readback.diagnosis.pairs import SECOND, two_faults
from ladderlight.readback.readings import Reading, as_read
from ladderlight.readback.sections import Section, mask_of
from ladderlight.units.arrays import Flags, Ints, MemoryWords, Words

_SAMPLE = 1 << 12
_SHORTLIST = 12
_MOST_MISSED = 0.1
"""Share of the differences that two faults may leave: among so many pairs, one explains more than half by chance."""
_LEAST = 0.05


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    """What may be wrong. ``confidence`` is 0 to 1; ``explained`` the share of the differences that it accounts for."""

    kind: Kind
    lines: tuple[str, ...]
    text: str
    explained: float
    confidence: float


def diagnose(
    board: Board,
    device: Device,
    wanted: MemoryWords,
    found: Words,
    reading: Reading | None = None,
    known: Sequence[Fault] = (),
) -> list[Diagnosis]:
    """Try the usual faults and give those that explain at least half of the differences, the likeliest first.

    ``known`` are contents that a healthy chip may hold; they and those of the other devices are tried first, and come
    first where a fault explains as much.

    Every word that a fault leaves unexplained counts a hundred to one against it; so does every difference against
    there being no single cause. Faults that lead to the very same words cannot be told apart and are all given.
    Only what was read counts; where dumps lack most of a chip, what they lack is not evidence. Even and odd dumps may
    be of chips side by side: when all that differs is in one of them, so is the fault, and when nothing explains both,
    each is tried by itself.
    """
    should = device.words(wanted)
    known = (*known, *other_devices(board, device, wanted))

    def tried(part: Reading | None) -> list[Diagnosis]:
        return _weighed_faults(board, device, should, as_read(should, found, part), known, part)

    chips = _differing_chips(should, found, reading)
    if reading is None or not chips:
        return tried(reading)
    together = tried(replace(reading, read=tuple(section for chip in chips for section in chip)))
    if together or len(chips) == 1:
        return together
    return [
        replace(diagnosis, text=f"{chip[0].lane}: {diagnosis.text}")
        for chip in chips
        for diagnosis in tried(replace(reading, read=chip))
    ]


def _weighed_faults(
    board: Board, device: Device, should: Words, found: Words, known: Sequence[Fault], reading: Reading | None
) -> list[Diagnosis]:
    differing = int(np.count_nonzero(should != found))
    if not differing:
        return []
    mask = reading.mask if reading else np.full_like(should, (1 << device.part.width) - 1)
    sample = _sample(should, found)
    places = np.arange(should.size)

    def tried(fault: Fault) -> _Tried:
        words = (fault.words(places) ^ found) & mask  # what it leaves unexplained
        return _Tried(missed=int(np.count_nonzero(words)), fault=fault, words=words)

    singles = list(possible_faults(board, device, should, found, known, reading))
    missed = [int(np.count_nonzero((fault.words(sample) ^ found[sample]) & mask[sample])) for fault in singles]
    shortlist = [tried(singles[at]) for at in np.argsort(missed, kind="stable")[:_SHORTLIST]]
    if min(item.missed + item.fault.against for item in shortlist) > SECOND:
        pins = Pins(board=board, device=device)
        pairs = map(tried, two_faults(pins, should, found, mask, singles, sample))
        shortlist += (item for item in pairs if item.missed <= _MOST_MISSED * differing)
    kept = [
        item
        for item in shortlist
        if item.missed <= differing / 2 and _has_evidence((item.words == 0) & (should != found), reading)
    ]
    return _weighed(kept, differing)


def _has_evidence(explained: Flags, reading: Reading | None) -> bool:
    """Whether a dump that lacks most of a chip holds at least half of the differences that a fault explains."""
    lacking = reading.mostly_left_out if reading else None
    return lacking is None or bool(2 * (explained & lacking).sum() <= explained.sum())


@dataclass(frozen=True, kw_only=True, eq=False)
class _Tried:
    missed: int
    fault: Fault
    words: Words

    @property
    def against(self) -> float:
        """What speaks against it, in words."""
        return self.missed + self.fault.against


def _differing_chips(should: Words, found: Words, reading: Reading | None) -> list[tuple[Section, ...]]:
    """Group a reading in even and odd bytes by these, those that differ; nothing of a reading in whole words."""
    if reading is None or not all(section.torn for section in reading.read):
        return []
    lanes: dict[str, list[Section]] = {}
    for section in reading.read:
        lanes.setdefault(section.lane, []).append(section)
    differs = should ^ found
    return [tuple(chip) for chip in lanes.values() if (differs & mask_of(reading.device, chip)).any()]


def _sample(should: Words, found: Words) -> Ints:
    """Choose words to try the faults on: half of them such that differ, so that small damage is seen too."""
    random = np.random.default_rng(should.size)
    differs = np.flatnonzero(should != found)
    some = random.choice(differs, min(differs.size, _SAMPLE // 2), replace=False)
    any_ = random.choice(should.size, min(should.size, _SAMPLE), replace=False)
    return np.unique(np.concatenate([some, any_]))


def _weighed(tried: Sequence[_Tried], differing: int) -> list[Diagnosis]:
    classes: list[list[_Tried]] = []
    for item in sorted(tried, key=lambda item: item.against):
        same = (
            group
            for group in classes
            if group[0].against == item.against and np.array_equal(group[0].words, item.words)
        )
        group = next(same, None)
        if group is None:
            classes.append([item])
        else:
            group.append(item)
    if not classes:
        return []
    # where a device holds little, many a fault would make it look blank
    classes = [[item for item in group if item.fault.kind == "blank"] or group for group in classes]
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
