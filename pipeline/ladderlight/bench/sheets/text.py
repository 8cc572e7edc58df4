"""The bench sheet as plain text."""

import textwrap
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ladderlight.bench.readings import Volts, steps_of
from ladderlight.bench.sheets.document import AT_PARTS, AT_WIRING, Bench, decoding, named
from ladderlight.bench.wiring import WiredChip
from ladderlight.system.printable import printable
from ladderlight.units.words import frequency, in_words

WIDTH = 78
_TEXT = 20
"""Columns that are left for a sentence on a narrow terminal."""
_AT = 22
"""Column in which readings begin."""


class _Hung(NamedTuple):
    """A line that may be too long, and the spaces before what is left of it."""

    text: str
    spaces: int


_Lines = Iterator[str | _Hung]


def bench_sheet(project: str, bench: Bench, *, width: int = WIDTH) -> str:
    """Return the bench sheet as plain text, its sentences in lines of at most ``width`` columns."""
    title = f"Bench sheet: {project}"
    lines = [title, "=" * min(len(title), width)]
    for heading, body in (
        ("Findings", _findings(bench)),
        ("Parts to buy", _parts(bench)),
        ("Wiring, pin by pin", _chips(bench)),
        ("Resistors", _resistors(bench)),
        ("Wiring, line by line", _lines(bench)),
        ("Counts to decode", _counts(bench)),
        ("Readings", _readings(bench)),
        ("Cautions", _listed(bench.cautions)),
    ):
        found = [line for each in body for line in _folded(each, width)]
        if found:
            lines += ["", heading, "-" * width, *found]
    return "\n".join([*map(printable, lines), ""])


def _findings(bench: Bench) -> _Lines:
    for finding in bench.findings:
        yield _Hung(f"{finding.level:8}{finding.where}: {finding.message}", 8)


def _parts(bench: Bench) -> _Lines:
    yield from _listed(AT_PARTS)
    yield ""
    for part in bench.parts:
        yield _Hung(f"{part.quantity:3}  {part.value:12}  {part.what}", 19)


def _chips(bench: Bench) -> _Lines:
    yield from _listed(AT_WIRING)
    for chip in bench.wiring.sockets:
        yield ""
        yield _title(chip)
        for pin in chip.pins:
            number = "" if pin.number is None else f"{pin.number}"
            rate = f", {frequency(bench.hertz[pin.line])}" if bench.rises(pin) else ""
            yield _Hung(f"{number:>4}  {pin.name:12} {pin.line or '-':15} {pin.to}{rate}", 35)


def _title(chip: WiredChip) -> str:
    name = chip.device or chip.holds
    return f"{chip.label}  {name}  ({chip.described})" if name else f"{chip.label}  ({chip.described})"


def _resistors(bench: Bench) -> _Lines:
    for resistor in bench.wiring.resistors:
        dissipates = in_words(resistor.watts, "W", digits=3)
        yield _Hung(f"{resistor.label:5}{resistor.value:12}{resistor.start} to {resistor.end}, up to {dissipates}", 17)


def _lines(bench: Bench) -> _Lines:
    for line in bench.wiring.lines:
        yield _Hung(f"{line.name:15} from {line.source}", 18)
        yield _Hung(f"{'':16}to {'; '.join(line.to)}", 18)


def _counts(bench: Bench) -> _Lines:
    yield from _listed(bench.at_counts)
    for axis in bench.axes:
        yield ""
        sync = "hsync" if axis.name == "x" else "vsync"
        yield f"{axis.name} counter; {sync} is {'positive' if axis.positive else 'negative'}"
        for decoded in axis.decoded:
            head = f"  {decoded.name:16}{decoded.reading:>5}  {decoded.hexadecimal}  {decoded.binary}  "
            yield _Hung(f"{head}{decoding(axis.name, decoded)}", len(head))
        tones = [f"{tone.line} {frequency(tone.hertz) if tone.hertz else 'steady'}" for tone in axis.tones]
        yield _Hung(f"  {'rises':16}{', '.join(tones)}", 18)


def _readings(bench: Bench) -> _Lines:
    yield from _listed(bench.at_readings)
    yield ""
    yield f"{'':22}{'with monitor':24}{'without monitor':23}measured".rstrip()
    for high, readings in steps_of(bench.readings):
        yield _Hung(f"{named(high)}: burn {bench.word(high)}", 4)
        for reading in readings:
            loaded, unloaded = _volts(reading.loaded), _volts(reading.unloaded)
            at = f"    {reading.at:17} "
            if len(at) > _AT:  # one output for three guns
                yield at.rstrip()
                at = ""
            yield f"{at:{_AT}}{loaded:24}{unloaded:23}________"
            if reading.currents:
                each = ", ".join(f"{line} {value * 1e3:.2f} mA" for line, value in reading.currents.items())
                yield _Hung(f"{'':22}{each}", 22)


def _volts(volts: Volts | None) -> str:
    return "floats" if volts is None else f"{volts.nominal:.3f} ({volts.lowest:.3f} to {volts.highest:.3f})"


def _listed(texts: Sequence[str]) -> _Lines:
    for text in texts:
        yield _Hung(f"- {text}", 2)


def _folded(line: str | _Hung, width: int) -> list[str]:
    if isinstance(line, str):
        return [line]
    spaces = " " * min(line.spaces, max(width - _TEXT, 0))
    return textwrap.wrap(line.text, width, subsequent_indent=spaces, break_on_hyphens=False)
