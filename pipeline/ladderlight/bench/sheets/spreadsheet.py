"""The wiring and the parts as files for a spreadsheet: comma-separated values (RFC 4180)."""

import csv
import io
from collections.abc import Iterable

from ladderlight.bench.sheets.document import Bench
from ladderlight.system.printable import printable

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
