"""The wiring pin by pin, and from the side of the lines."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from ladderlight.bench.connector import LAST_PIN, PINS, SOCKET, SYNCS, FittedResistor, resistors_of
from ladderlight.bench.gates import BLANK, CLOCK, LINE_CLOCK, Gates, Unit, enable_line, gates_of, select_line
from ladderlight.bench.pins import ChipPins, Pin, pins_of
from ladderlight.board import Board
from ladderlight.board.model.ladder import GUNS
from ladderlight.board.model.lines import Signal, line
from ladderlight.devices.pinouts import NOT_CONNECTED, pinout_of
from ladderlight.units.words import joined

RAILS = {"low": "GND", "high": "VCC"}
_SUPPLY = {"VCC": "supply of the datasheet, with 100 nF to GND beside the chip", "GND": "ground"}
_COUNTERS = {Signal.X: "x counter, bit", Signal.Y: "y counter, bit", Signal.BANK: "switch or frame counter, bit"}


@dataclass(frozen=True, kw_only=True)
class WiredPin:
    """A pin and where it leads. ``line`` is ``low`` or ``high`` for a pin that is tied, empty for one left open."""

    number: int | None
    name: str
    line: str
    to: str

    @property
    def where(self) -> str:
        """The pin within its chip: ``pin 13 (D0)``, or ``D0`` where the package is not known."""
        return self.name if self.number is None else f"pin {self.number} ({self.name})"


@dataclass(frozen=True, kw_only=True)
class WiredChip:
    """A chip or the connector: its socket's label, and its pins in the order of the package.

    ``checked`` is whether an open library of symbols agrees with the pin-out; None where the package is not known.
    """

    label: str
    device: str
    part: str
    package: str
    checked: bool | None
    pins: tuple[WiredPin, ...]


@dataclass(frozen=True, kw_only=True)
class WiredLine:
    """A line: what drives it, and all that it leads to, in words."""

    name: str
    source: str
    to: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Wiring:
    """A board's wiring: memory chips, then the connector; gates, resistors, and every line."""

    chips: tuple[WiredChip, ...]
    connector: WiredChip
    gates: Gates
    resistors: tuple[FittedResistor, ...]
    lines: tuple[WiredLine, ...]


def wiring_of(board: Board) -> Wiring:
    """Return a board's wiring. Nothing is known of the counters' own pins, and of how counts are decoded."""
    return _Harness(board).wiring()


@dataclass(frozen=True)
class _Harness:
    board: Board

    @cached_property
    def pins(self) -> tuple[ChipPins, ...]:
        return pins_of(self.board)

    @cached_property
    def gates(self) -> Gates:
        return gates_of(self.board)

    @cached_property
    def resistors(self) -> tuple[FittedResistor, ...]:
        return resistors_of(self.board)

    def wiring(self) -> Wiring:
        chips = tuple(map(self._chip, self.pins))
        connector = self._connector()
        return Wiring(
            chips=chips,
            connector=connector,
            gates=self.gates,
            resistors=self.resistors,
            lines=tuple(self._lines((*chips, connector))),
        )

    def _chip(self, chip: ChipPins) -> WiredChip:
        part = chip.device.part
        pinout = pinout_of(part)
        return WiredChip(
            label=chip.label,
            device=chip.device.name,
            part=part.number,
            package=part.package,
            checked=pinout.checked if pinout else None,
            pins=tuple(self._wired(chip, pin) for pin in chip.pins),
        )

    def _wired(self, chip: ChipPins, pin: Pin) -> WiredPin:
        line, to = pin.line, ""
        match pin.bit:
            case ("A", _) if line in RAILS:
                to = self._tied(chip, pin)
            case ("A", _):
                to = self.source(line)
            case ("D", _) if line:
                to = self._reached(chip, pin)
            case ("D", _):
                to = "open: output that nothing uses"
            case _:
                line, to = self._control(chip, pin.name)
        return WiredPin(number=pin.number, name=pin.name, line=line, to=to)

    def _tied(self, chip: ChipPins, pin: Pin) -> str:
        rail, memory = RAILS[pin.line], self.board.memory(chip.device.memory)
        given = pin.bit is not None and pin.bit[1] < len(memory.address)
        return f"{rail}: tied in the recipe" if given else f"{rail}: spare, the words in use are those where it is low"

    def _control(self, chip: ChipPins, name: str) -> tuple[str, str]:
        """Return the line of a supply or control pin, and where it leads."""
        memory = self.board.memory(chip.device.memory)
        match name:
            case "VCC" | "GND":
                return name, _SUPPLY[name]
            case "/CE":
                line = select_line(self.board, chip.device)
                return line, "GND: always selected" if line == "low" else self.source(line)
            case "/OE" | "/OE/VPP":
                line = enable_line(self.board, memory)
                if line == BLANK:
                    return line, f"{self.source(line)}: the outputs float during blanking"
                return line, "GND: outputs always enabled"
            case "VPP":
                return "high", "VCC: the programming voltage belongs in the programmer"
            case "/PGM" | "/WE":
                return "high", "VCC: never written on the board"
            case _:
                open_pin = "not connected inside" if name == NOT_CONNECTED else "see the datasheet"
                return "", f"open: {open_pin}"

    def source(self, name: str) -> str:
        """Return what drives a line, in words."""
        if name in RAILS:
            return RAILS[name]
        if name in self.board.outputs:
            return self._outputs(name)
        if name == BLANK:
            return "decoder of the counts, high during blanking"
        if name == CLOCK:
            return "oscillator"
        if name == LINE_CLOCK:
            return "decoder of the counts, once a line"
        if name in SYNCS:
            mode = self.board.raster.mode
            positive = (mode.horizontal if name == "hsync" else mode.vertical).positive
            return f"decoder of the counts, {'positive' if positive else 'negative'}"
        unit = self.gates.source(name)
        if unit is not None:
            return f"{unit} ({joined(unit.inputs)})"
        found = line(name)
        if found.signal in _COUNTERS:
            return f"{_COUNTERS[found.signal]} {found.index}"
        return self._outputs(name)

    def _outputs(self, name: str) -> str:
        """Return the data pins that drive a line and the units behind them, in words."""
        outputs = [f"{chip.label} {_where(pin)}" for chip in self.pins for pin in chip.pins if _drives(pin, name)]
        return ", ".join([joined(outputs), *(f"then {unit}" for unit in self._path(name))])

    def _path(self, name: str) -> tuple[Unit, ...]:
        return self.gates.paths.get(name, ())

    def _reached(self, chip: ChipPins, pin: Pin) -> str:
        """Return what a data pin leads to first: a unit of its line, or all that the line leads to."""
        path, memory = self._path(pin.line), self.board.memory(chip.device.memory)
        if not path:
            return "; ".join(self.destinations[pin.line])
        pixels = memory.packing.pixels
        if pixels == 1 or pin.bit is None:
            return str(path[0])
        place = pin.bit[1] // memory.pixel_width
        slot = pixels - 1 - place if memory.packing.order == "msb_first" else place
        # Sixteen pixels take two units: the second shift register sends first, the first selector is read first.
        first = int(memory.output == "register" and pixels == 16)
        unit = path[first if slot < 8 else 1 - first]
        return f"{unit}, pixel {slot + 1} of {pixels} from the left"

    @cached_property
    def destinations(self) -> dict[str, list[str]]:
        """All that each line leads to behind its own units, in words; memories' control pins excepted."""
        found: dict[str, list[str]] = defaultdict(list)
        for chip in self.pins:
            for pin in chip.pins:
                if pin.bit is not None and pin.bit[0] == "A" and pin.line:
                    found[pin.line].append(f"{chip.label} {_where(pin)}")
        own = {id(unit): name for name, path in self.gates.paths.items() for unit in path}
        commons = set()
        for unit in self.gates.units:
            for name in dict.fromkeys(unit.inputs):
                if own.get(id(unit)) != name:
                    found[name].append(f"{unit} input")
            for control, name in unit.controls:
                if (unit.package, control) not in commons:
                    commons.add((unit.package, control))
                    found[name].append(f"{unit.package} {control}")
        for resistor in self.resistors:
            if resistor.line:
                found[resistor.line].append(f"{resistor.label} ({resistor.value}) to {resistor.end}")
        return found

    def _connector(self) -> WiredChip:
        fed = {gun: channel for channel in self.board.ladder.channels for gun in channel.guns}
        pins = []
        for number in range(1, LAST_PIN + 1):
            name = PINS[number - 1] if number <= len(PINS) else ""
            line = next((sync for sync, at in SYNCS.items() if at == number), "")
            to = "open"
            if name in GUNS:
                channel = fed.get(GUNS.index(name))
                ends = [r.label for r in self.resistors if channel and r.channel == channel.name and SOCKET in r.end]
                line, to = (channel.name, joined(ends)) if channel else ("low", "GND: nothing feeds it")
            elif name:
                line, to = "GND", "ground"
            elif line:
                name, to = line, self.source(line)
            pins.append(WiredPin(number=number, name=name or NOT_CONNECTED, line=line, to=to))
        return WiredChip(label=SOCKET, device="", part="DE-15", package="DE-15", checked=False, pins=tuple(pins))

    def _lines(self, chips: tuple[WiredChip, ...]) -> Iterator[WiredLine]:
        """Yield every line: counters, banks, what gates make, data lines, then decoded lines and rails."""
        reached = {name: list(places) for name, places in self.destinations.items()}
        for chip in chips:
            for pin in chip.pins:
                control = pin.name in RAILS.values() or not _bit(pin)
                if control and pin.line and pin.line not in (channel.name for channel in self.board.ladder.channels):
                    reached.setdefault(pin.line, []).append(f"{chip.label} {pin.where}")
        for name in sorted(reached, key=self._order):
            yield WiredLine(name=name, source=_SUPPLY.get(name) or self.source(name), to=tuple(reached[name]))

    def _order(self, name: str) -> tuple[int, str, int]:
        found = line(name)
        if found.signal in _COUNTERS:
            return list(_COUNTERS).index(found.signal), "", found.index
        fixed = (BLANK, CLOCK, LINE_CLOCK, *SYNCS, *RAILS, *_SUPPLY)
        if name in fixed:
            return 5, "", fixed.index(name)
        return (3 if self.gates.source(name) else 4), name, 0


def _where(pin: Pin) -> str:
    return WiredPin(number=pin.number, name=pin.name, line="", to="").where


def _drives(pin: Pin, name: str) -> bool:
    return pin.bit is not None and pin.bit[0] == "D" and pin.line == name


def _bit(pin: WiredPin) -> bool:
    return pin.name[0] in "AD" and pin.name[1:].isdigit()
