"""A chip read back against what it should hold: where it differs, what the screen shows there, what may be wrong."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from ladderlight.board import Board, Device, Finding
from ladderlight.board.scanning.scan import scan
from ladderlight.engine.trays import place_in
from ladderlight.readback.diagnosis.faults import Fault
from ladderlight.readback.diagnosis.weighing import Diagnosis, diagnose
from ladderlight.readback.dumps import Held, Reading
from ladderlight.readback.sections import Section, image_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints, MemoryWords, Words

_GAP = 8  # differences no further apart than this many words are one range


@dataclass(kw_only=True)
class Difference:
    """One word that differs. ``address`` counts words of the device; ``places`` counts the pixels that show it.

    The first of these is at ``x`` and ``y`` of a ``bank`` with ``pictures``; all None, and no pictures, without any.
    """

    address: int
    wanted: int
    found: int
    bank: int | None = None
    pictures: tuple[str, ...] = ()
    x: int | None = None
    y: int | None = None
    places: int = 0

    @property
    def bits(self) -> int:
        """The bits that differ."""
        return self.wanted ^ self.found

    @property
    def where(self) -> str:
        """Where the screen shows it, in words."""
        if not self.places:
            return "not on the screen"
        names = f" ({', '.join(self.pictures)})" if self.pictures else ""
        more = f" and {self.places - 1} more" if self.places > 1 else ""
        return f"bank {self.bank}{names}, pixel {self.x}, {self.y}{more}"


class Range(Frozen):
    """A stretch of addresses, with how many words in it differ."""

    first: int
    last: int
    count: int


class DeviceReport(Frozen, eq=False):
    """The report on one device. ``found`` are its words, as they should be where they were not read."""

    reading: Reading
    found: Words
    count: int
    """How many words differ."""
    ranges: tuple[Range, ...]
    raised: tuple[int, ...]
    """For each data line, in how many words it is 1 but should be 0."""
    lowered: tuple[int, ...]
    """For each data line, in how many words it is 0 but should be 1."""
    differences: tuple[Difference, ...]
    """The first of them, up to the number asked for."""
    diagnoses: tuple[Diagnosis, ...]
    dumps: tuple[tuple[Held, int], ...]
    """Its dumps, and how many bytes of each differ."""
    tray: int | None = None

    @property
    def same(self) -> bool:
        """Whether the chip holds what it should."""
        return self.count == 0

    @property
    def place(self) -> str:
        """The device in words, with its tray where there are several."""
        return place_in(self.tray, f"device {self.reading.device.name}")

    @property
    def unread_text(self) -> str:
        """What was not read, in words; empty when all was."""
        if self.reading.complete:
            return ""
        unread = self.reading.unread
        parts = ", ".join(each.label + (f" ({each.files[0]})" if each.files else "") for each in unread)
        amount = f"{self.reading.unread_bytes:,} of {self.reading.device.part.bytes:,} bytes"
        return f"{parts}; {amount}" if parts else amount


def report_on(
    board: Board,
    reading: Reading,
    dumps: Sequence[Held],
    wanted: MemoryWords,
    *,
    pictures: Mapping[int, Sequence[str]] | None = None,
    most: int = 1000,
    known: Sequence[Fault] = (),
    tray: int | None = None,
) -> DeviceReport:
    """Compare what was read of a device with what it should hold when all memories hold ``wanted``.

    Differences are listed up to ``most``; the screens of banks with ``pictures``, named by bank, are searched for them.
    A healthy chip may hold what is ``known``, see :mod:`ladderlight.readback.diagnosis.known`. ``dumps`` may be of
    other devices as well.
    """
    device = reading.device
    should = device.words(wanted)
    found = reading.over(should)
    at = np.flatnonzero(should != found)
    runs = np.split(at, np.flatnonzero(np.diff(at) > _GAP) + 1) if at.size else []
    raised, lowered = found[at] & ~should[at], should[at] & ~found[at]
    bits = range(device.part.width)
    differs = image_of(should ^ found, device)
    return DeviceReport(
        reading=reading,
        found=found,
        count=int(at.size),
        ranges=tuple(Range(first=int(run[0]), last=int(run[-1]), count=run.size) for run in runs),
        raised=tuple(int((raised >> np.uint32(bit) & np.uint32(1)).sum()) for bit in bits),
        lowered=tuple(int((lowered >> np.uint32(bit) & np.uint32(1)).sum()) for bit in bits),
        differences=tuple(_differences(board, device, wanted, found, at[:most], pictures or {})),
        diagnoses=tuple(diagnose(board, wanted, reading, known)) if at.size else (),
        dumps=tuple(
            (held, int(np.count_nonzero(differs[held.section.places])))
            for held in dumps
            if held.section.device == device
        ),
        tray=tray,
    )


def _differences(
    board: Board, device: Device, wanted: MemoryWords, found: Words, at: Ints, pictures: Mapping[int, Sequence[str]]
) -> list[Difference]:
    should = device.words(wanted)
    differing = {
        address: Difference(address=address, wanted=int(should[address]), found=int(found[address]))
        for address in at.tolist()
    }
    for bank in sorted(pictures) or range(min(board.bank_count, 16)) if at.size else ():
        scanned = scan(board, wanted, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank)
        shown = np.broadcast_to(scanned.addresses[device.memory], scanned.codes.shape) - device.first_word
        for y, x in np.argwhere(np.isin(shown, at)).tolist():
            one = differing[int(shown[y, x])]
            if not one.places:
                one.bank, one.pictures, one.x, one.y = bank, tuple(pictures.get(bank, ())), x, y
            one.places += 1
    return list(differing.values())


def unrecorded(reports: Sequence[DeviceReport], recorded: Collection[tuple[int, str]]) -> list[Finding]:
    """Return a note for each chip that differs and has no record, as an earlier build cannot be recognised there."""
    return [
        Finding.note(
            report.place,
            "no record of what this chip held, so an earlier build cannot be recognised; "
            "use ladderlight burned after each burning",
        )
        for report in reports
        if not report.same and (report.tray or 1, report.reading.device.name) not in recorded
    ]


def document_of_reports(reports: Sequence[DeviceReport]) -> dict[str, Any]:
    """Return reports as plain values: that of a single device, or ``devices`` with that of each."""
    documents = [_document(report) for report in reports]
    if len(documents) == 1:
        return documents[0]
    return {"same": all(document["same"] for document in documents), "devices": documents}


def _document(report: DeviceReport) -> dict[str, Any]:
    return {
        "device": report.reading.device.name,
        "same": report.same,
        "words": report.found.size,
        "count": report.count,
        "bits": [
            {"bit": bit, "raised": raised, "lowered": lowered}
            for bit, (raised, lowered) in enumerate(zip(report.raised, report.lowered, strict=True))
        ],
        "diagnoses": [asdict(diagnosis) | {"lines": list(diagnosis.lines)} for diagnosis in report.diagnoses],
        "ranges": [asdict(stretch) for stretch in report.ranges],
        "differences": [
            {
                "address": difference.address,
                "wanted": difference.wanted,
                "found": difference.found,
                "bits": [bit for bit in range(difference.bits.bit_length()) if difference.bits >> bit & 1],
                "bank": difference.bank,
                "pictures": list(difference.pictures),
                "x": difference.x,
                "y": difference.y,
                "places": difference.places,
            }
            for difference in report.differences
        ],
        **({} if report.tray is None else {"tray": report.tray}),
        "complete": report.reading.complete,
        "unread_bytes": report.reading.unread_bytes,
        "unread": [_place(section) for section in report.reading.unread],
        "dumps": [
            {
                "file": held.dump.name,
                "format": held.dump.format,
                **_place(held.section),
                "base": held.base,
                "left_out": held.left_out,
                "differing": differing,
                "note": held.note,
            }
            for held, differing in report.dumps
        ],
    }


def _place(section: Section) -> dict[str, Any]:
    span = section.span
    return {
        "part": section.label,
        "first": span.first,
        "bytes": section.size,
        "step": span.step,
        "order": span.order,
        "device_files": list(section.files),
    }
