"""The bench sheet's content: everything on it with its notes, from a board; and the same as plain values."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from ladderlight.bench.connector import Reading, Volts, readings_of, shown_share, tolerance_of, words_for
from ladderlight.bench.counts import Axis, Decoded, axes_of, hertz_of
from ladderlight.bench.gates import BLANK, enable_line
from ladderlight.bench.logic import Logic
from ladderlight.bench.parts import PartToBuy, parts_of
from ladderlight.bench.pins import Pin
from ladderlight.bench.wiring import Wiring
from ladderlight.board import Board, Finding
from ladderlight.board.model.lines import timing_line
from ladderlight.errors import ranked
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import frequency, in_words, joined, percent

AT_PARTS = (
    "Not listed, since they are yours to choose: the wiring between the counters, any gates that decode counts, and "
    "any switches or counter for the banks.",
)
AT_WIRING = (
    "Power off. Wire with the sockets empty, then measure VCC and GND at every socket before a chip goes in.",
    "Touch the earthed mat before a chip: static discharge ruins chips. Mind pin 1.",
    "Programming voltage belongs in the programmer: on the board a VPP pin is at VCC.",
)
_AT_COUNTS = (
    "Check both rates with a scope before a tube monitor is connected: line rates that it is not made for can "
    "damage it. Leave a tube monitor closed: it holds lethal voltages even when unplugged.",
    "An AND of the bits given goes high at the count for the first time since the reset. Where it goes high "
    "again, use its first edge alone, such as to set a latch.",
)
_AT_READINGS = (
    "Measure at the connector against a return pin. With monitor: a monitor, or a resistor of its input at each "
    "output.",
    "Burn the word at every address of a spare chip, or leave the memory's socket empty, tie the data pins that are 1 "
    "in the word to VCC through 1 kohm and the others to GND, with the clock running. Power off before each change.",
)


class Bench(Frozen):
    """All that a bench sheet shows of a board. ``hertz`` is how often each line rises, where that is known."""

    board: Board
    wiring: Wiring
    parts: tuple[PartToBuy, ...]
    axes: tuple[Axis, Axis]
    readings: tuple[Reading, ...]
    hertz: dict[str, float]
    findings: tuple[Finding, ...]

    def rises(self, pin: Pin) -> bool:
        """Whether a pin is an address pin whose frequency is known."""
        return pin.name[:1] == "A" and bool(self.hertz.get(pin.line))

    def word(self, high: tuple[str, ...]) -> str:
        """Return what to burn for some lines alone: ``20h``, with the memories' names where several have a word."""
        words = {
            name: f"{word:0{(self.board.memory(name).part.width + 3) // 4}X}h"
            for name, word in words_for(self.board, high).items()
        }
        if len(words) == 1:
            return next(iter(words.values()))
        return ", ".join(f"{name} {word}" for name, word in words.items())


def bench_of(board: Board, findings: Sequence[Finding]) -> Bench:
    """Return the bench sheet of a board with its findings. The board must be free of problems."""
    wiring = Wiring(board)
    hertz = {line.name: hertz_of(board, line.name) for line in wiring.lines}
    return Bench(
        board=board,
        wiring=wiring,
        parts=parts_of(board, wiring),
        axes=axes_of(board),
        readings=readings_of(board),
        hertz={line: rate for line, rate in hertz.items() if rate is not None},
        findings=tuple(ranked([*findings, *_findings(board, wiring)])),
    )


def document_of(bench: Bench) -> dict[str, Any]:
    """Return a bench sheet as plain values.

    Volts, milliamperes and hertz. ``wiring`` lists the memory chips, then packages of common logic and the connector,
    whose ``device`` is empty; a pin's number is None where the package is not known.
    """
    wiring = bench.wiring
    return {
        "ok": not any(finding.level == "error" for finding in bench.findings),
        "wiring": [
            {
                "chip": chip.label,
                "device": chip.device,
                "part": chip.part,
                "package": chip.package,
                "pins": [{"pin": pin.number, "name": pin.name, "line": pin.line, "to": pin.to} for pin in chip.pins],
            }
            for chip in wiring.sockets
        ],
        "lines": [
            {"line": line.name, "from": line.source, "to": list(line.to), "hz": bench.hertz.get(line.name)}
            for line in wiring.lines
        ],
        "parts": [asdict(part) for part in bench.parts],
        "counts": {axis.name: _axis(axis) for axis in bench.axes},
        "readings": [_reading(reading) for reading in bench.readings],
        "findings": [asdict(finding) for finding in bench.findings],
    }


def _axis(axis: Axis) -> dict[str, Any]:
    return {
        "polarity": "positive" if axis.positive else "negative",
        **{decoded.name.replace(" ", "_"): _decoded(axis, decoded) for decoded in axis.decoded},
        "frequencies": axis.tones,
    }


def _decoded(axis: Axis, decoded: Decoded) -> dict[str, Any]:
    return {
        "decimal": decoded.reading,
        "hexadecimal": decoded.hexadecimal,
        "binary": decoded.binary,
        "and_bits": None if decoded.bits is None else [f"{axis.name}{bit}" for bit in decoded.bits],
        "again_at": decoded.again,
    }


def _reading(reading: Reading) -> dict[str, Any]:
    return {
        "lines": list(reading.high),
        "words": reading.words,
        "channel": reading.channel,
        "at": reading.at,
        "loaded_volts": _volts(reading.loaded),
        "unloaded_volts": _volts(reading.unloaded),
        "currents_ma": {line: round(current * 1e3, 6) for line, current in reading.currents.items()},
    }


def _volts(volts: Volts | None) -> dict[str, float] | None:
    return None if volts is None else {name: round(value, 6) for name, value in asdict(volts).items()}


def _findings(board: Board, wiring: Wiring) -> Iterator[Finding]:
    for checked, message in (
        (None, "pin-out not known; pins are listed by name, take their numbers from the datasheet"),
        (False, "pin-out from memory; compare it with the datasheet before wiring"),
    ):
        labels = [chip.label for chip in wiring.chips if chip.checked is checked]
        if labels:
            yield Finding.note(f"chip{'s' * (len(labels) > 1)} {joined(labels)}", message)
    for memory in board.driving_memories:
        floating = [line for line in memory.data if timing_line(line)]
        if floating and enable_line(board, memory) == BLANK:
            yield Finding.caution(
                f"memory {memory.name}",
                f"{joined(floating)} would float with the picture's lines during blanking; give the timing "
                "lines a memory of their own, or blank by another way",
            )
    if wiring.gates.packages:
        yield Finding.note(
            "logic",
            "numbers of common logic are generic; use a family whose datasheet allows "
            f"{frequency(board.raster.clock)} and has these pin-outs",
        )
    late = [
        label
        for label, units in wiring.gates.packages.items()
        if units[0].logic in (Logic.REGISTER, Logic.CLEARED) and dict(units[0].controls)["clock"].startswith("!")
    ]
    if late:
        yield Finding.note(
            f"register{'s' * (len(late) > 1)} {joined(late)}",
            "clocked one inverter's delay after the address changes; check that the memory's output hold time "
            "is longer",
        )


def decoding(counter: str, decoded: Decoded) -> str:
    """Return how a reading is decoded: ``AND of x9 x7 x2, again at 652``."""
    if decoded.bits == ():
        return "the reset itself"
    if decoded.bits is None:
        return "no AND of high bits suffices; compare all bits"
    again = "" if decoded.again is None else f", again at {decoded.again}"
    return f"AND of {' '.join(f'{counter}{bit}' for bit in decoded.bits)}{again}"


def counting(board: Board) -> list[str]:
    """Return how to decode the counts, and which lines need no decoder."""
    driven = [line for line in board.outputs if timing_line(line)]
    memory = f"Memories drive {joined(driven)}: these lines need no gates."
    return [*_AT_COUNTS, memory] if driven else list(_AT_COUNTS)


def measuring(board: Board) -> list[str]:
    """Return how to take the readings, and what they assume."""
    ladder = board.ladder
    stated = "" if ladder.tolerance else ", as the recipe states none"
    limits = f"Limits are for resistors of {tolerance_of(ladder) * 100:g} %{stated}"
    found = [
        *_AT_READINGS,
        f"{limits}, {in_words(ladder.supply, 'V')} and a monitor of {in_words(ladder.load, 'ohm')}; measure the supply "
        "first. Currents are those of the driving outputs with the monitor.",
    ]
    if board.blanking != "none":
        found.append(
            f"Hold blank low while measuring: a meter shows the average, which is {percent(shown_share(board))} of the "
            "figure while the picture is blanked as usual."
        )
    return found


def named(high: tuple[str, ...]) -> str:
    """Return which lines are high in a case of readings: ``r0 high``, ``all lines high``, ``no line high``."""
    return f"{high[0]} high" if len(high) == 1 else "all lines high" if high else "no line high"
