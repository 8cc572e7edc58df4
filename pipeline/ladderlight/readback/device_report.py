"""The report on one device that was read back: the comparison, the dumps, and what was not read."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ladderlight.board import Board, Finding
from ladderlight.engine.trays import place_in
from ladderlight.readback.comparison import Comparison, compare, document_of
from ladderlight.readback.diagnosis.faults import Fault
from ladderlight.readback.dumps import Held
from ladderlight.readback.readings import Reading, as_read
from ladderlight.readback.sections import Section, image_of
from ladderlight.units.arrays import MemoryWords, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class DumpReport:
    """A dump, and how many of its bytes differ."""

    held: Held
    differing: int


@dataclass(frozen=True, kw_only=True, eq=False)
class DeviceReport:
    """The report on one device. ``found`` are its words, as they should be where they were not read."""

    comparison: Comparison
    reading: Reading
    dumps: tuple[DumpReport, ...]
    found: Words
    tray: int | None = None

    @property
    def place(self) -> str:
        """The device in words, with its tray where there are several."""
        return place_in(self.tray, f"device {self.comparison.device}")

    @property
    def unread_text(self) -> str:
        """What was not read, in words; empty when all was."""
        if self.reading.complete:
            return ""
        parts = ", ".join(_text(section) for section in self.reading.unread)
        amount = f"{self.reading.unread_bytes:,} of {self.reading.device.part.bytes:,} bytes"
        return f"{parts}; {amount}" if parts else amount


def report_on(
    board: Board,
    reading: Reading,
    found: Sequence[Held],
    wanted: MemoryWords,
    *,
    pictures: Mapping[int, Sequence[str]] | None = None,
    most: int = 1000,
    known: Sequence[Fault] = (),
    tray: int | None = None,
) -> DeviceReport:
    """Compare what was read of a device with what it should hold, as :func:`ladderlight.readback.comparison.compare`.

    ``found`` are the dumps, those of other devices as well; ``wanted`` is what all memories should hold.
    """
    device = reading.device
    comparison = compare(
        board, device, wanted, reading.words, pictures=pictures, most=most, reading=reading, known=known
    )
    should = device.words(wanted)
    held_words = as_read(should, reading.words, reading)
    differs = image_of(should ^ held_words, device)
    dumps = tuple(
        DumpReport(held=held, differing=int(np.count_nonzero(differs[held.section.places])))
        for held in found
        if held.section.device == device
    )
    return DeviceReport(comparison=comparison, reading=reading, dumps=dumps, found=held_words, tray=tray)


def unrecorded(reports: Sequence[DeviceReport], recorded: Collection[tuple[int, str]]) -> list[Finding]:
    """Return a note for each chip that differs and has no record, as an earlier build cannot be recognised there."""
    return [
        Finding.note(
            report.place,
            "no record of what this chip held, so an earlier build cannot be recognised; "
            "use ladderlight burned after each burning",
        )
        for report in reports
        if not report.comparison.same and (report.tray or 1, report.comparison.device) not in recorded
    ]


def document_of_reports(reports: Sequence[DeviceReport]) -> dict[str, Any]:
    """Return reports as plain values: that of a single device, or ``devices`` with that of each."""
    documents = [_document(report) for report in reports]
    if len(documents) == 1:
        return documents[0]
    return {"same": all(document["same"] for document in documents), "devices": documents}


def _document(report: DeviceReport) -> dict[str, Any]:
    tray = {} if report.tray is None else {"tray": report.tray}
    return (
        document_of(report.comparison)
        | tray
        | {
            "complete": report.reading.complete,
            "unread_bytes": report.reading.unread_bytes,
            "unread": [_place(section) for section in report.reading.unread],
            "dumps": [
                {
                    "file": item.held.dump.name,
                    "format": item.held.dump.format,
                    **_place(item.held.section),
                    "base": item.held.base,
                    "left_out": item.held.left_out,
                    "differing": item.differing,
                    "note": item.held.note,
                }
                for item in report.dumps
            ],
        }
    )


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


def _text(section: Section) -> str:
    return f"{section.label} ({section.files[0]})" if section.files else section.label
