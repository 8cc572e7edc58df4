"""A chip read back against what it should hold: where it differs, what the screen shows there, what may be wrong."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from ladderlight.board import Board, Device
from ladderlight.board.scanning.scan import scan
from ladderlight.readback.diagnosis.faults import Fault
from ladderlight.readback.diagnosis.weighing import Diagnosis, diagnose
from ladderlight.readback.readings import Reading, as_read
from ladderlight.units.arrays import Ints, MemoryWords, Words

_GAP = 8
"""Differences no further apart than this many words are one range."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where the screen shows a word: bank, names of the pictures in it, and the picture pixel."""

    bank: int
    pictures: tuple[str, ...]
    x: int
    y: int


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One word that differs. ``address`` counts words of the device; ``places`` counts the pixels that show it."""

    address: int
    wanted: int
    found: int
    place: Place | None
    places: int

    @property
    def bits(self) -> int:
        """The bits that differ."""
        return self.wanted ^ self.found

    @property
    def where(self) -> str:
        """Where the screen shows it, in words."""
        if self.place is None:
            return "not on the screen"
        names = f" ({', '.join(self.place.pictures)})" if self.place.pictures else ""
        more = f" and {self.places - 1} more" if self.places > 1 else ""
        return f"bank {self.place.bank}{names}, pixel {self.place.x}, {self.place.y}{more}"


@dataclass(frozen=True, kw_only=True)
class Range:
    """A stretch of addresses, with how many words in it differ."""

    first: int
    last: int
    count: int


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """The whole finding about one device."""

    device: str
    words: int
    count: int
    ranges: tuple[Range, ...]
    raised: tuple[int, ...]
    """For each data line, in how many words it is 1 but should be 0."""
    lowered: tuple[int, ...]
    """For each data line, in how many words it is 0 but should be 1."""
    differences: tuple[Difference, ...]
    """The first of them, up to the number asked for."""
    diagnoses: tuple[Diagnosis, ...]

    @property
    def same(self) -> bool:
        """Whether the chip holds what it should."""
        return self.count == 0


def compare(
    board: Board,
    device: Device,
    wanted: MemoryWords,
    found: Words,
    *,
    pictures: Mapping[int, Sequence[str]] | None = None,
    most: int = 1000,
    reading: Reading | None = None,
    known: Sequence[Fault] = (),
) -> Comparison:
    """Compare one device, or as much of it as was read.

    Parameters
    ----------
    wanted
        What all memories should hold.
    found
        What the device holds: uint32, shape (words of the part,).
    pictures
        Names of the pictures in each bank that holds any; only these banks are searched for places.
    most
        How many differences to list one by one.
    reading
        How the device was read, when not all at once; what was not read counts as the same.
    known
        Contents that a healthy chip may hold, see :mod:`ladderlight.readback.diagnosis.known`.
    """
    should = device.words(wanted)
    found = as_read(should, found, reading)
    at = np.flatnonzero(should != found)
    raised, lowered = found[at] & ~should[at], should[at] & ~found[at]
    bits = range(device.part.width)
    return Comparison(
        device=device.name,
        words=should.size,
        count=int(at.size),
        ranges=tuple(_ranges(at)),
        raised=tuple(int((raised >> np.uint32(bit) & np.uint32(1)).sum()) for bit in bits),
        lowered=tuple(int((lowered >> np.uint32(bit) & np.uint32(1)).sum()) for bit in bits),
        differences=tuple(_differences(board, device, wanted, found, at[:most], pictures or {})),
        diagnoses=tuple(diagnose(board, device, wanted, found, reading, known)) if at.size else (),
    )


def document_of(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison as plain values."""
    return {
        "device": comparison.device,
        "same": comparison.same,
        "words": comparison.words,
        "count": comparison.count,
        "bits": [
            {"bit": bit, "raised": raised, "lowered": lowered}
            for bit, (raised, lowered) in enumerate(zip(comparison.raised, comparison.lowered, strict=True))
        ],
        "diagnoses": [asdict(diagnosis) | {"lines": list(diagnosis.lines)} for diagnosis in comparison.diagnoses],
        "ranges": [asdict(stretch) for stretch in comparison.ranges],
        "differences": [
            {
                "address": difference.address,
                "wanted": difference.wanted,
                "found": difference.found,
                "bits": [bit for bit in range(difference.bits.bit_length()) if difference.bits >> bit & 1],
                "bank": difference.place.bank if difference.place else None,
                "pictures": list(difference.place.pictures) if difference.place else [],
                "x": difference.place.x if difference.place else None,
                "y": difference.place.y if difference.place else None,
                "places": difference.places,
            }
            for difference in comparison.differences
        ],
    }


def _ranges(at: Ints) -> list[Range]:
    if not at.size:
        return []
    starts = np.concatenate([[0], np.flatnonzero(np.diff(at) > _GAP) + 1])
    ends = np.concatenate([starts[1:], [at.size]])
    return [
        Range(first=int(at[start]), last=int(at[end - 1]), count=int(end - start))
        for start, end in zip(starts, ends, strict=True)
    ]


def _differences(
    board: Board, device: Device, wanted: MemoryWords, found: Words, at: Ints, pictures: Mapping[int, Sequence[str]]
) -> list[Difference]:
    first: dict[int, Place] = {}
    count: dict[int, int] = dict.fromkeys(at.tolist(), 0)
    for bank in sorted(pictures) or range(min(board.bank_count, 16)) if at.size else ():
        scanned = scan(board, wanted, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank)
        shown = np.broadcast_to(scanned.addresses[device.memory], scanned.codes.shape) - device.first_word
        for y, x in np.argwhere(np.isin(shown, at)).tolist():
            address = int(shown[y, x])
            count[address] += 1
            first.setdefault(address, Place(bank=bank, pictures=tuple(pictures.get(bank, ())), x=x, y=y))
    should = device.words(wanted)
    return [
        Difference(
            address=address,
            wanted=int(should[address]),
            found=int(found[address]),
            place=first.get(address),
            places=count[address],
        )
        for address in at.tolist()
    ]
