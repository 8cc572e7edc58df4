"""The bench sheet as plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from ladderlight.bench.readings import Volts, steps_of
from ladderlight.bench.sheets.advice import AT_READINGS, AT_WIRING, counting, decoding, measuring, named
from ladderlight.bench.sheets.document import Bench
from ladderlight.bench.wiring import WiredChip
from ladderlight.proof.cautions import cautions
from ladderlight.system.printable import printable
from ladderlight.units.words import frequency, in_words

_WIDTH = 78
_AT = 22
"""Column in which readings begin."""


def bench_sheet(project: str, bench: Bench) -> str:
    """Return the bench sheet as plain text, 78 columns wide."""
    title = f"Bench sheet: {project}"
    lines = [title, "=" * min(len(title), _WIDTH)]
    for heading, body in (
        ("Findings", _findings(bench)),
        ("Parts to buy", _parts(bench)),
        ("Wiring, pin by pin", _chips(bench)),
        ("Resistors", _resistors(bench)),
        ("Wiring, line by line", _lines(bench)),
        ("Counts to decode", _counts(bench)),
        ("Readings", _readings(bench)),
        ("Cautions", _listed(cautions(bench.board))),
    ):
        found = list(body)
        if found:
            lines += ["", heading, "-" * _WIDTH, *found]
    return "\n".join([*map(printable, lines), ""])


def _findings(bench: Bench) -> Iterator[str]:
    for finding in bench.findings:
        yield from _wrapped(f"{finding.level:8}{finding.where}: {finding.message}", 8)


def _parts(bench: Bench) -> Iterator[str]:
    for part in bench.parts:
        yield from _wrapped(f"{part.quantity:3}  {part.value:12}  {part.what}", 19)


def _chips(bench: Bench) -> Iterator[str]:
    yield from _listed(AT_WIRING)
    for chip in bench.wiring.sockets:
        yield ""
        yield _title(chip)
        for pin in chip.pins:
            number = "" if pin.number is None else f"{pin.number}"
            rate = f", {frequency(bench.hertz[pin.line])}" if bench.rises(pin) else ""
            yield from _wrapped(f"{number:>4}  {pin.name:12} {pin.line or '-':15} {pin.to}{rate}", 35)


def _title(chip: WiredChip) -> str:
    name = chip.device or chip.holds
    return f"{chip.label}  {name}  ({chip.described})" if name else f"{chip.label}  ({chip.described})"


def _resistors(bench: Bench) -> Iterator[str]:
    for resistor in bench.wiring.resistors:
        dissipates = in_words(resistor.watts, "W", digits=3)
        yield from _wrapped(
            f"{resistor.label:5}{resistor.value:12}{resistor.start} to {resistor.end}, up to {dissipates}", 17
        )


def _lines(bench: Bench) -> Iterator[str]:
    for line in bench.wiring.lines:
        yield from _wrapped(f"{line.name:15} from {line.source}", 18)
        yield from textwrap.wrap(
            f"to {'; '.join(line.to)}", _WIDTH, initial_indent=" " * 16, subsequent_indent=" " * 18
        )


def _counts(bench: Bench) -> Iterator[str]:
    yield from _listed(counting(bench.board))
    for axis in bench.axes:
        yield ""
        sync = "hsync" if axis.name == "x" else "vsync"
        yield f"{axis.name} counter; {sync} is {'positive' if axis.positive else 'negative'}"
        for decoded in axis.decoded:
            head = f"  {decoded.name:16}{decoded.reading:>5}  {decoded.hexadecimal}  {decoded.binary}  "
            yield from _wrapped(f"{head}{decoding(axis.name, decoded)}", len(head))
        tones = [f"{tone.line} {frequency(tone.hertz) if tone.hertz else 'steady'}" for tone in axis.tones]
        yield from _wrapped(f"  {'rises':16}{', '.join(tones)}", 18)


def _readings(bench: Bench) -> Iterator[str]:
    yield from _listed([*AT_READINGS, *measuring(bench.board)])
    yield ""
    yield f"{'':22}{'with monitor':24}{'without monitor':23}measured".rstrip()
    for high, readings in steps_of(bench.readings):
        yield from _wrapped(f"{named(high)}: burn {bench.word(high)}", 4)
        for reading in readings:
            loaded, unloaded = _volts(reading.loaded), _volts(reading.unloaded)
            at = f"    {reading.at:17} "
            if len(at) > _AT:  # one output for three guns
                yield at.rstrip()
                at = ""
            yield f"{at:{_AT}}{loaded:24}{unloaded:23}________"
            if reading.currents:
                each = ", ".join(f"{line} {value * 1e3:.2f} mA" for line, value in reading.currents.items())
                yield from _wrapped(f"{'':22}{each}", 22)


def _volts(volts: Volts | None) -> str:
    return "floats" if volts is None else f"{volts.nominal:.3f} ({volts.lowest:.3f} to {volts.highest:.3f})"


def _listed(texts: Sequence[str]) -> Iterator[str]:
    for text in texts:
        yield from textwrap.wrap(text, _WIDTH, initial_indent="- ", subsequent_indent="  ")


def _wrapped(text: str, hang: int) -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent=" " * hang, break_on_hyphens=False)
