"""Recognising a dump by its content, also one of a programmer set to another part."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np

from ladderlight.devices.files import ERASED
from ladderlight.flow.pictures import Span
from ladderlight.readback.dumps import Dump, Held
from ladderlight.readback.sections import Section
from ladderlight.units.arrays import Bytes, Flags, bytes_per_word
from ladderlight.units.words import counted

Images = Mapping[str, Bytes]
"""Bytes of devices by name: uint8, low byte of each word first."""

_TIMES = 3
"""Of the bytes in which two sections differ, a dump must agree with one this many times as often as with the other."""
_LEAST = 1 / 8  # and with at least this share of them, which no chance agreement reaches
_SIZES = (2, 4, 8, 16)
_LEAST_RIGHT = 0.5  # share of the bytes written in a dump that must be as they should, where it does not repeat


def recognised(choices: Sequence[Held], wanted: Images) -> tuple[Held, bool] | None:
    """Choose by content, and whether it is the very same; None when no choice is clearly better than all others.

    Only bytes count in which two choices differ, and none that have the dump's commonest value: an erased chip is like
    every device that is mostly empty. Of choices that should hold the very same, the first is taken.
    """
    best, *others = candidates = sorted((Candidate(held, wanted) for held in choices), key=Candidate.rank)
    for candidate in candidates:
        if candidate.is_the_same:
            return candidate.held, True
    of_one_size = len({len(held.data) for held in choices}) == 1
    if best.tells and of_one_size and all(best.is_clearly_better_than(other) for other in others):
        return best.held, False
    return None


def expected_bytes(held: Held, wanted: Images) -> Bytes:
    """Return the bytes that should be where a dump has some, in the byte order with which it agrees better."""
    section, width = held.section, bytes_per_word(held.section.device.part.width)
    image = wanted[section.device.name]
    should: Bytes = image[section.places][held.at]
    if width == 1 or section.torn:
        return should
    turned: Bytes = image.reshape(-1, width)[:, ::-1].ravel()[section.places][held.at]
    return turned if (turned == held.data).sum() > (should == held.data).sum() else should


@dataclass(frozen=True, eq=False)
class Candidate:
    """What a dump may be of, where the devices should hold what is ``wanted``."""

    held: Held
    wanted: Images

    @cached_property
    def should(self) -> Bytes:
        """The bytes that it should then have."""
        return expected_bytes(self.held, self.wanted)

    @cached_property
    def telling(self) -> Flags:
        """Marks the bytes of the dump that have another than its commonest value."""
        data = self.held.data
        return np.not_equal(data, np.bincount(data, minlength=256).argmax())

    @cached_property
    def agreeing(self) -> Flags:
        """Marks the telling bytes that are as they should be."""
        return np.equal(self.should, self.held.data) & self.telling

    @property
    def tells(self) -> bool:
        """Whether any byte distinguishes."""
        return bool(self.telling.any())

    @property
    def is_the_same(self) -> bool:
        """Whether the dump is the very same, and distinguishes anything."""
        return self.tells and np.array_equal(self.should, self.held.data)

    def rank(self) -> tuple[int, int, int, int]:
        """Rank by agreement: in bytes that tell, in all, in the section's own byte order; then by fewest left out."""
        section, data = self.held.section, self.held.data
        plain = self.wanted[section.device.name][section.places][self.held.at]
        equal = [int(np.count_nonzero(values)) for values in (self.agreeing, self.should == data, plain == data)]
        return -equal[0], -equal[1], -equal[2], self.held.left_out

    def is_clearly_better_than(self, other: Self) -> bool:
        """Compare where the two should differ; the other byte order of a whole device's files is no rival."""
        ours, theirs = self.held.section, other.held.section
        if ours.whole and theirs.device == ours.device:
            return True
        return self.is_clearly_more_like(other)

    def is_clearly_more_like(self, other: Self) -> bool:
        """Compare where the two should differ."""
        differs = self.should != other.should
        agrees, other_agrees = int((self.agreeing & differs).sum()), int((other.agreeing & differs).sum())
        return agrees > _LEAST * int((self.telling & differs).sum()) and agrees >= _TIMES * other_agrees


def as_other_part(dump: Dump, section: Section, wanted: Images | None) -> Held | None:
    """Lay a dump of the size of a larger or smaller part over a whole device, where it agrees best.

    Returns one block of a larger dump as all of the section, or a smaller dump as a block of the section, with a note;
    None where the size is not the part's times or by a power of two, or too little is as it should be. Without
    ``wanted``, what the devices should hold, only a dump that repeats is taken.
    """
    data, addresses = dump.addressed(section)
    if not data.size or not section.whole or addresses.max() - addresses.min() + 1 != data.size:
        return None
    data = data[np.argsort(addresses)]
    base, size, part = int(addresses.min()), section.size, section.device.part.number
    if data.size in [times * size for times in _SIZES]:
        blocks = data.reshape(-1, size)
        helds = [_held(dump, section, base + at * size, block) for at, block in enumerate(blocks)]
        repeats = bool((blocks == blocks[0]).all())
        best = helds[0] if repeats or wanted is None else max(helds, key=lambda held: _agreement(held, wanted))
        happened = "its data repeats" if repeats else f"only its data from {best.base:X}h was compared"
        which = "larger"
    elif not section.torn and data.size in [size // times for times in _SIZES if size % times == 0]:
        if wanted is None:
            return None
        spans = [Span(first=at, count=data.size, order=section.span.order) for at in range(0, size, data.size)]
        helds = [_held(dump, Section(device=section.device, span=span), base, data) for span in spans]
        repeats, best = False, max(helds, key=lambda held: _agreement(held, wanted))
        happened, which = f"it stops and holds only {best.section.label}", "smaller"
    else:
        return None
    if not repeats and (wanted is None or _agreement(best, wanted) < _LEAST_RIGHT):
        return None
    note = f"has {counted(data.size, 'byte')}: the programmer was set to a {which} part, and {happened}; select {part}"
    return replace(best, note=note)


def _held(dump: Dump, section: Section, base: int, data: Bytes) -> Held:
    return Held(dump=dump, section=section, base=base, at=np.arange(data.size), data=data)


def _agreement(held: Held, wanted: Images) -> float:
    """Return the share of the bytes that are or should be written which are as they should be."""
    should = expected_bytes(held, wanted)
    written = (held.data != ERASED) | (should != ERASED)
    return float((should == held.data)[written].mean()) if written.any() else 0.0
