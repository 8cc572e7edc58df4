"""The bench sheet as files: plain text, a page to print, and tables for a spreadsheet."""

import csv
import io
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from markupsafe import Markup

from ladderlight.bench.connector import Volts, steps_of
from ladderlight.bench.sheets.document import AT_PARTS, AT_WIRING, Bench, counting, decoding, measuring, named
from ladderlight.proof.board_words import cautions
from ladderlight.proof.templating import fill
from ladderlight.system.printable import printable
from ladderlight.units.words import frequency, in_words

_ACTING = ("=", "+", "-", "@")  # what makes a spreadsheet take a cell for a formula (common practice)
_MARK = "Ladderlight"  # head of the last column, which is empty: where a written file is marked as this command's own
WIDTH = 78
_TEXT = 20  # columns that are left for a sentence on a narrow terminal
_AT = 22  # column in which readings begin
_Lines = Iterator[str | tuple[str, int]]  # lines; one that may be too long with the spaces before what is left of it


def bench_page(project: str, bench: Bench) -> str:
    """Return the bench sheet as one HTML document that loads nothing."""
    return _filled("bench-sheet.html", bench, project=project, findings=bench.findings, cautions=cautions(bench.board))


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
        at_counts=counting(bench.board),
        at_readings=measuring(bench.board),
        decoding=decoding,
        named=named,
        frequency=frequency,
        in_words=in_words,
        **values,
    )


def spreadsheets(bench: Bench) -> dict[str, bytes]:
    """Return ``wiring.csv`` and ``parts.csv``: comma-separated values (RFC 4180), in UTF-8.

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


def bench_sheet(project: str, bench: Bench, *, width: int = WIDTH) -> str:
    """Return the bench sheet as plain text, its sentences in lines of at most ``width`` columns."""
    title = f"Bench sheet: {project}"
    lines = [title, "=" * min(len(title), width)]
    for heading, body in (
        ("Findings", ((f"{one.level:8}{one.where}: {one.message}", 8) for one in bench.findings)),
        ("Parts to buy", _parts(bench)),
        ("Wiring, pin by pin", _chips(bench)),
        ("Resistors", _resistors(bench)),
        ("Wiring, line by line", _lines(bench)),
        ("Counts to decode", _counts(bench)),
        ("Readings", _readings(bench)),
        ("Cautions", _listed(cautions(bench.board))),
    ):
        found = [line for each in body for line in _folded(each, width)]
        if found:
            lines += ["", heading, "-" * width, *found]
    return "\n".join([*map(printable, lines), ""])


def _parts(bench: Bench) -> _Lines:
    yield from _listed(AT_PARTS)
    yield ""
    for part in bench.parts:
        yield (f"{part.quantity:3}  {part.value:12}  {part.what}", 19)


def _chips(bench: Bench) -> _Lines:
    yield from _listed(AT_WIRING)
    for chip in bench.wiring.sockets:
        yield ""
        name = chip.device or chip.holds
        yield f"{chip.label}  " + f"{name}  " * bool(name) + f"({chip.described})"
        for pin in chip.pins:
            number = "" if pin.number is None else f"{pin.number}"
            rate = f", {frequency(bench.hertz[pin.line])}" if bench.rises(pin) else ""
            yield (f"{number:>4}  {pin.name:12} {pin.line or '-':15} {pin.to}{rate}", 35)


def _resistors(bench: Bench) -> _Lines:
    for resistor in bench.wiring.resistors:
        dissipates = in_words(resistor.watts, "W", digits=3)
        yield (f"{resistor.label:5}{resistor.value:12}{resistor.start} to {resistor.end}, up to {dissipates}", 17)


def _lines(bench: Bench) -> _Lines:
    for line in bench.wiring.lines:
        yield (f"{line.name:15} from {line.source}", 18)
        yield (f"{'':16}to {'; '.join(line.to)}", 18)


def _counts(bench: Bench) -> _Lines:
    yield from _listed(counting(bench.board))
    for axis in bench.axes:
        yield ""
        sync = "hsync" if axis.name == "x" else "vsync"
        yield f"{axis.name} counter; {sync} is {'positive' if axis.positive else 'negative'}"
        for decoded in axis.decoded:
            head = f"  {decoded.name:16}{decoded.reading:>5}  {decoded.hexadecimal}  {decoded.binary}  "
            yield (f"{head}{decoding(axis.name, decoded)}", len(head))
        tones = [f"{line} {frequency(hertz) if hertz else 'steady'}" for line, hertz in axis.tones.items()]
        yield (f"  {'rises':16}{', '.join(tones)}", 18)


def _readings(bench: Bench) -> _Lines:
    yield from _listed(measuring(bench.board))
    yield ""
    yield f"{'':22}{'with monitor':24}{'without monitor':23}measured".rstrip()
    for high, readings in steps_of(bench.readings):
        yield (f"{named(high)}: burn {bench.word(high)}", 4)
        for reading in readings:
            loaded, unloaded = _volts(reading.loaded), _volts(reading.unloaded)
            at = f"    {reading.at:17} "
            if len(at) > _AT:  # one output for three guns
                yield at.rstrip()
                at = ""
            yield f"{at:{_AT}}{loaded:24}{unloaded:23}________"
            if reading.currents:
                each = ", ".join(f"{line} {value * 1e3:.2f} mA" for line, value in reading.currents.items())
                yield (f"{'':22}{each}", 22)


def _volts(volts: Volts | None) -> str:
    return "floats" if volts is None else f"{volts.nominal:.3f} ({volts.lowest:.3f} to {volts.highest:.3f})"


def _listed(texts: Sequence[str]) -> _Lines:
    return ((f"- {text}", 2) for text in texts)


def _folded(line: str | tuple[str, int], width: int) -> list[str]:
    if isinstance(line, str):
        return [line]
    text, hanging = line
    spaces = " " * min(hanging, max(width - _TEXT, 0))
    return textwrap.wrap(text, width, subsequent_indent=spaces, break_on_hyphens=False)
