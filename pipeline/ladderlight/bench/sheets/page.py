"""The bench sheet as files: as text, as a page to print, and for a spreadsheet."""

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

from markupsafe import Markup

from ladderlight.bench.readings import steps_of
from ladderlight.bench.sheets.document import AT_PARTS, AT_WIRING, Bench, decoding, named
from ladderlight.bench.sheets.text import bench_sheet
from ladderlight.proof.templating import fill
from ladderlight.system.printable import printable
from ladderlight.units.words import frequency, in_words


def bench_files(project: str, bench: Bench) -> Iterator[tuple[str, bytes]]:
    """Yield ``bench-sheet.txt`` and ``bench-sheet.html``, by their names."""
    yield "bench-sheet.txt", bench_sheet(project, bench).encode()
    yield "bench-sheet.html", bench_page(project, bench).encode()


def bench_page(project: str, bench: Bench) -> str:
    """Return the bench sheet as one HTML document that loads nothing."""
    return _filled("bench-sheet.html", bench, project=project, findings=bench.findings, cautions=bench.cautions)


def bench_parts(bench: Bench) -> Markup:
    """Return the tables of the bench sheet, to be shown in another page below a heading of the second level."""
    return Markup(_filled("bench-parts.html", bench, level=3))  # noqa: S704 - escaped there


def _filled(template: str, bench: Bench, **values: Any) -> str:
    return fill(
        template,
        package="ladderlight.bench.sheets",
        bench=bench,
        steps=list(steps_of(bench.readings)),
        at_parts=AT_PARTS,
        at_wiring=AT_WIRING,
        decoding=decoding,
        named=named,
        frequency=frequency,
        in_words=in_words,
        **values,
    )


_ACTING = ("=", "+", "-", "@")
"""What makes a spreadsheet take a cell for a formula (common practice)."""
_MARK = "Ladderlight"
"""Head of the last column, which is empty: where a written file is marked as this command's own."""


def spreadsheets(bench: Bench) -> dict[str, bytes]:
    """Return ``wiring.csv`` and ``parts.csv``, in UTF-8.

    A cell that would act as a formula begins with an apostrophe.
    """
    wiring = bench.wiring
    pins = (
        (
            *(chip.label, chip.device, chip.part, chip.package),
            *("" if pin.number is None else pin.number, pin.name, pin.line, pin.to),
            f"{bench.hertz[pin.line]:.3f}" if bench.rises(pin) else "",
        )
        for chip in wiring.sockets
        for pin in chip.pins
    )
    parts = ((part.quantity, part.what, part.value) for part in bench.parts)
    return {
        "wiring.csv": _sheet(("chip", "device", "part", "package", "pin", "name", "line", "to", "hertz"), pins),
        "parts.csv": _sheet(("quantity", "what", "value"), parts),
    }


def _sheet(heads: Iterable[str], rows: Iterable[Iterable[object]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow([*heads, _MARK])
    writer.writerows([*map(_cell, row), ""] for row in rows)
    return text.getvalue().encode()


def _cell(value: object) -> str:
    text = printable(str(value))
    return f"'{text}" if text.startswith(_ACTING) else text
