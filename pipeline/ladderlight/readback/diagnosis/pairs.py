"""Two independent faults at once: of lines, or of a line and of what a chip holds."""

from collections.abc import Iterator, Sequence
from functools import partial
from heapq import nsmallest

import numpy as np

from ladderlight.bench.faults.lines import LineFault, address_faults, data_faults
from ladderlight.bench.pins import Pins
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

    def counted() -> Iterator[tuple[int, int, int, Words, Fault | LineFault]]:
        order = 0
        for number, one in enumerate(lines):
            held = one.words(wanted, places)
            for at, count in enumerate(missed(held, number + 1), number + 1):
                if one.bus != lines[at].bus or not set(one.pins) & set(lines[at].pins):
                    order += 1
                    yield count, order, at, held, one
        for other in singles:
            if other.kind not in _ALONE and not other.lines:
                held = other.words(places)
                for at, count in enumerate(missed(held, 0)):
                    order += 1
                    yield count, order, at, held, other

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
