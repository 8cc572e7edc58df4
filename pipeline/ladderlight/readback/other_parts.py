"""Dumps that were read with the programmer set to a larger or a smaller part than the one on the board."""

import numpy as np

from ladderlight.devices.files import ERASED
from ladderlight.flow.pictures import Span
from ladderlight.readback.dumps import Dump, Held, addressed
from ladderlight.readback.recognition import Images, expected_bytes
from ladderlight.readback.sections import Section
from ladderlight.units.arrays import Bytes
from ladderlight.units.words import counted

_TIMES = (2, 4, 8, 16)
_LEAST = 0.5
"""Share of the bytes written in a dump that must be as they should, where it does not repeat."""


def as_other_part(dump: Dump, section: Section, wanted: Images | None) -> Held | None:
    """Lay a dump of the size of a larger or smaller part over a whole device, where it agrees best.

    Returns one block of a larger dump as all of the section, or a smaller dump as a block of the section, with a note;
    None where the size is not the part's times or by a power of two, or too little is as it should be. Without
    ``wanted``, what the devices should hold, only a dump that repeats is taken.
    """
    data, addresses = addressed(dump, section)
    if not data.size or not section.whole or addresses.max() - addresses.min() + 1 != data.size:
        return None
    data = data[np.argsort(addresses)]
    base, size, part = int(addresses.min()), section.size, section.device.part.number
    if data.size in [times * size for times in _TIMES]:
        blocks = data.reshape(-1, size)
        helds = [_held(dump, section, base + at * size, block) for at, block in enumerate(blocks)]
        repeats = bool((blocks == blocks[0]).all())
        best = helds[0] if repeats or wanted is None else max(helds, key=lambda held: _agreement(held, wanted))
        happened = "its data repeats" if repeats else f"only its data from {best.base:X}h was compared"
        which = "larger"
    elif not section.torn and data.size in [size // times for times in _TIMES if size % times == 0]:
        if wanted is None:
            return None
        spans = [Span(first=at, count=data.size, order=section.span.order) for at in range(0, size, data.size)]
        helds = [_held(dump, Section(device=section.device, span=span), base, data) for span in spans]
        repeats, best = False, max(helds, key=lambda held: _agreement(held, wanted))
        happened, which = f"it stops and holds only {best.section.label}", "smaller"
    else:
        return None
    if not repeats and (wanted is None or _agreement(best, wanted) < _LEAST):
        return None
    note = f"has {counted(data.size, 'byte')}: the programmer was set to a {which} part, and {happened}; select {part}"
    return Held(dump=dump, section=best.section, base=best.base, at=best.at, data=best.data, note=note)


def _held(dump: Dump, section: Section, base: int, data: Bytes) -> Held:
    return Held(dump=dump, section=section, base=base, at=np.arange(data.size), data=data)


def _agreement(held: Held, wanted: Images) -> float:
    """Return the share of the bytes that are or should be written which are as they should be."""
    should = expected_bytes(held, wanted)
    written = (held.data != ERASED) | (should != ERASED)
    return float((should == held.data)[written].mean()) if written.any() else 0.0
