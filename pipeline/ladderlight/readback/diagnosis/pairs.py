"""Two independent faults at once: of lines, or of a line and of what a chip holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from heapq import nsmallest

import numpy as np

from ladderlight.bench.faults.lines import LineFault, address_faults, data_faults
from ladderlight.bench.faults.pins import Pins
from ladderlight.readback.diagnosis.faults import Fault, Places
from ladderlight.units.arrays import Words

SECOND = 3.0
"""What a second fault must explain more than one alone, in words."""
_PROBES = 768
_ALONE = ("blank", "all_zero", "badly_erased", "weakly_programmed")
_KEPT = 12


def two_faults(
    pins: Pins, wanted: Words, found: Words, mask: Words, singles: Sequence[Fault], sample: Places
) -> list[Fault]:
    """Return the pairs of faults that explain most of a sample of the words, the best first.

    ``singles`` are the faults that may be alone; those that are of no line and that more than one word speaks for are
    tried with each fault of a line.
    """
    sample = np.random.default_rng(sample.size).permutation(sample)[:_PROBES]
    seen, counts = found[sample], mask[sample]
    lines = [*data_faults(pins), *address_faults(pins)]
    places = np.arange(wanted.size)

    def counted() -> Iterator[tuple[int, int, int, Words, Fault | LineFault]]:
        order = 0
        for number, one in enumerate(lines):
            held = one.words(wanted, places)
            for at in range(number + 1, len(lines)):
                if one.bus != lines[at].bus or not set(one.pins) & set(lines[at].pins):
                    order += 1
                    missed = np.count_nonzero((lines[at].words(held, sample) ^ seen) & counts)
                    yield int(missed), order, at, held, one
        for other in singles:
            if other.kind not in _ALONE and not other.lines:
                held = other.words(places)
                for at, line in enumerate(lines):
                    order += 1
                    yield int(np.count_nonzero((line.words(held, sample) ^ seen) & counts)), order, at, held, other

    return [
        Fault(
            kind="two_faults",
            lines=tuple(dict.fromkeys((*(one.names if isinstance(one, LineFault) else one.lines), *lines[at].names))),
            text=f"two faults: {one.text}; and {lines[at].text}",
            words=partial(lines[at].words, held),
            against=SECOND,
        )
        for _, _, at, held, one in nsmallest(_KEPT, counted(), key=lambda item: item[:2])
    ]
