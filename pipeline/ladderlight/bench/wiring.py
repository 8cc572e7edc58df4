"""The wiring pin by pin, and from the side of the lines."""

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import cached_property

from ladderlight.bench.connector import PINS, SOCKET, SYNCS, FittedResistor, resistors_of
from ladderlight.bench.gates import (
    BLANK,
    CLOCK,
    LINE_CLOCK,
    RESETS,
    Gates,
    LogicPin,
    Unit,
    enable_line,
    inverse,
    logic_pins,
    select_line,
)
from ladderlight.bench.logic import Package
from ladderlight.bench.pins import Pin, Pins, pins_of
from ladderlight.board import Board
from ladderlight.board.model.ladder import GUNS
from ladderlight.board.model.lines import Signal, line
from ladderlight.devices.pinouts import NOT_CONNECTED, pinout_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import joined

RAILS = {"low": "GND", "high": "VCC"}
_SUPPLY = {"VCC": "supply, as in the datasheet; 100 nF to GND beside it", "GND": "ground"}
_COUNTERS = {Signal.X: "x counter, bit", Signal.Y: "y counter, bit", Signal.BANK: "switch or frame counter, bit"}


class WiredChip(Frozen):
    """A chip or the connector: its socket's label, and its pins in the order of the package, with where they lead.

    ``holds`` is what is in a package of common logic. ``checked`` is whether an open library of symbols agrees with the
    pin-out; None where the package is not known.
    """

    label: str
    device: str
    part: str
    package: str
    checked: bool | None
    pins: tuple[Pin, ...]
    holds: str = ""

    @property
    def described(self) -> str:
        """Part and package, and how far the pins are known."""
        package = self.package if self.package != self.part else ""
        known = {None: "pins by name only", False: "from memory", True: ""}[self.checked]
        return ", ".join(filter(None, (self.part, package, known)))


class WiredLine(Frozen):
    """A line: what drives it, and all that it leads to, in words."""

    name: str
    source: str
    to: tuple[str, ...]


@dataclass(frozen=True)
class Wiring:
    """A board's wiring: memory chips, packages of common logic, the connector; resistors, and every line.

    Nothing is known of the counters' own pins, and of how counts are decoded.
    """

    board: Board

    @cached_property
    def sockets(self) -> tuple[WiredChip, ...]:
        """All that has pins: memory chips, common logic, connector."""
        return (*self.chips, *self.logic, self.connector)

    @cached_property
    def chips(self) -> tuple[WiredChip, ...]:
        """The memory chips."""
        return tuple(map(self._chip, self._pins))

    @cached_property
    def gates(self) -> Gates:
        """The units of common logic."""
        return Gates(self.board)

    @cached_property
    def resistors(self) -> tuple[FittedResistor, ...]:
        """The ladders' resistors."""
        return resistors_of(self.board)

    @cached_property
    def _pins(self) -> tuple[Pins, ...]:
        return pins_of(self.board)

    @cached_property
    def _logic_pins(self) -> tuple[LogicPin, ...]:
        return tuple(logic_pins(self.gates))

    def _chip(self, chip: Pins) -> WiredChip:
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

    def _wired(self, chip: Pins, pin: Pin) -> Pin:
        line, to = pin.line, ""
        match pin.bit:
            case ("A", bit) if line in RAILS:
                tied = "tied in the recipe" if bit < len(chip.memory.address) else "spare, low at every address in use"
                to = f"{RAILS[line]}: {tied}"
            case ("A", _):
                to = self._source(line)
            case ("D", _) if line:
                to = self._reached(chip, pin)
            case ("D", _):
                to = "open: unused output"
            case _:
                line, to = self._control(chip, pin.name)
        return replace(pin, line=line, to=to)

    def _control(self, chip: Pins, name: str) -> tuple[str, str]:
        """Return the line of a supply or control pin, and where it leads."""
        match name:
            case "VCC" | "GND":
                return name, _SUPPLY[name]
            case "/CE":
                line = select_line(self.board, chip.device)
                return line, "GND: always selected" if line == "low" else self._source(line)
            case "/OE" | "/OE/VPP":
                line = enable_line(self.board, chip.memory)
                if line == BLANK:
                    return line, f"{self._source(line)}: the outputs float during blanking"
                return line, "GND: outputs always enabled"
            case "VPP":
                return "high", "VCC: the programming voltage belongs in the programmer"
            case "/PGM" | "/WE":
                return "high", "VCC: never written on the board"
            case _:
                open_pin = "not connected inside" if name == NOT_CONNECTED else "see the datasheet"
                return "", f"open: {open_pin}"

    def _source(self, name: str) -> str:
        if name in RAILS:
            return RAILS[name]
        if name in self.board.outputs:
            return self._outputs(name)
        maker = self.gates.makers.get(name)
        if maker is not None:
            return f"{self._output(maker, name)}, {maker.logic.package.unit} of {joined(maker.inputs)}"
        if name == CLOCK:
            return "oscillator"
        mode, polarity = self.board.raster.mode, {True: "positive", False: "negative"}
        decoded = {BLANK: "high during blanking", LINE_CLOCK: "once a line"}
        decoded |= zip(SYNCS, (polarity[axis.positive] for axis in (mode.horizontal, mode.vertical)), strict=True)
        if name in decoded:
            return f"decoder of the counts, {decoded[name]}"
        found = line(name)
        if found.signal in _COUNTERS:
            return f"{_COUNTERS[found.signal]} {found.index}"
        return self._outputs(name)

    def _outputs(self, name: str) -> str:
        """Return the pin that drives a data line, and the memory's pins when there are units between."""
        outputs, path = self._driving(name), self.gates.paths.get(name, ())
        if not path:
            return joined(outputs)
        through = list(dict.fromkeys(unit.package for unit in path[:-1]))
        return f"{self._output(path[-1], name)}, from {joined(outputs)}" + f" through {joined(through)}" * bool(through)

    def _driving(self, name: str, pixel: int | None = None) -> list[str]:
        """Return the memories' pins of a data line; those of one pixel alone where several share a word."""
        return [
            f"{chip.label} {pin.where}"
            for chip in self._pins
            for pin in chip.pins
            if pin.bit is not None and pin.bit[0] == "D" and pin.line == name
            if pixel is None or self._pixel(chip, pin) == pixel
        ]

    def _output(self, unit: Unit, line: str) -> str:
        return next(p.place for p in self._logic_pins if p.unit is unit and p.drives and p.line == line)

    def _pixel(self, chip: Pins, pin: Pin) -> int:
        """Return which pixel of a word a data pin carries, 0 for the leftmost."""
        packing, place = chip.memory.packing, pin.bit[1] // chip.memory.pixel_width if pin.bit else 0
        return packing.pixels - 1 - place if packing.order == "msb_first" else place

    def _reached(self, chip: Pins, pin: Pin) -> str:
        """Return what a data pin leads to first: a unit of its line, or all that the line leads to."""
        pixel, pixels = self._pixel(chip, pin), chip.memory.packing.pixels
        entry = next((p for p in self._logic_pins if p.line == pin.line and p.pixel == pixel), None)
        if entry is None:
            return self._all_of(pin.line)
        return entry.place + (f", pixel {pixel + 1} of {pixels} from the left" if pixels > 1 else "")

    def _all_of(self, line: str) -> str:
        return "; ".join(self._destinations.get(line, ["nothing on this sheet"]))

    @cached_property
    def logic(self) -> tuple[WiredChip, ...]:
        """The packages of common logic."""
        return tuple(self._package(label, units[0].logic.package) for label, units in self.gates.packages.items())

    def _package(self, label: str, package: Package) -> WiredChip:
        pins = (pin for pin in self._logic_pins if pin.package == label)
        return WiredChip(
            label=label,
            device="",
            part=package.number,
            package=package.package,
            checked=True,
            holds=package.holds,
            pins=tuple(Pin(pin.number, pin.name, pin.line, self._logic_end(pin)) for pin in pins),
        )

    def _logic_end(self, pin: LogicPin) -> str:
        if pin.drives:
            sink = next((p for p in self._logic_pins if pin.unit is not None and p.behind is pin.unit), None)
            return sink.place if sink else self._all_of(pin.line)
        if pin.behind is not None:
            return self._output(pin.behind, pin.line)
        if pin.pixel is not None:
            return joined(self._driving(pin.line, pin.pixel))
        if pin.line in _SUPPLY:
            return _SUPPLY[pin.line]
        if not pin.line:
            return "open: not connected inside" if pin.name == NOT_CONNECTED else "open: unused output"
        if pin.unit is None:
            ties = self.gates.packages[pin.package][0].logic.package.ties
            return f"{RAILS[pin.line]}: {'tied' if pin.name in ties else 'unused input'}"
        return self._source(pin.line)

    @cached_property
    def _destinations(self) -> dict[str, list[str]]:
        """All that each line leads to behind its own units, in words."""
        found: dict[str, list[str]] = defaultdict(list)
        for chip in self._pins:
            for pin in chip.pins:
                if pin.bit is None or pin.bit[0] == "A":
                    line = pin.line if pin.bit else self._control(chip, pin.name)[0]
                    found[line].append(f"{chip.label} {pin.where}")
        for place in self._logic_pins:
            if not place.drives and place.behind is None and place.pixel is None:
                found[place.line].append(place.place)
        for resistor in self.resistors:
            if resistor.line:
                found[resistor.line].append(f"{resistor.label} ({resistor.value}) to {resistor.end}")
        for wired in self.connector.pins:
            if wired.name not in GUNS or wired.line == "low":
                found[wired.line].append(f"{SOCKET} {wired.where}")
        for reset, counter in RESETS.items():
            for name in {reset, inverse(reset)} & set(self.board.outputs):
                found[name].append(f"{counter} counter's synchronous reset")
        found.pop("", None)
        return found

    @cached_property
    def connector(self) -> WiredChip:
        """The monitor's connector."""
        fed = {gun: channel for channel in self.board.ladder.channels for gun in channel.guns}
        pins = []
        for number, name in enumerate(PINS, start=1):
            line, to = "", "open"
            if name in GUNS:
                channel = fed.get(GUNS.index(name))
                ends = [r.label for r in self.resistors if channel and r.channel == channel.name and SOCKET in r.end]
                line, to = (channel.name, joined(ends)) if channel else ("low", "GND: nothing feeds it")
            elif name in SYNCS:
                line, to = name, self._source(name)
            elif name:
                line, to = "GND", "ground"
            pins.append(Pin(number, name or NOT_CONNECTED, line, to))
        return WiredChip(label=SOCKET, device="", part="DE-15", package="DE-15", checked=False, pins=tuple(pins))

    @cached_property
    def lines(self) -> tuple[WiredLine, ...]:
        """Every line: counters, banks, what gates make, data lines, then decoded lines and rails."""
        return tuple(
            WiredLine(name=name, source=_SUPPLY.get(name) or self._source(name), to=tuple(self._destinations[name]))
            for name in sorted(self._destinations, key=self._order)
        )

    def _order(self, name: str) -> tuple[int, str, int]:
        found = line(name)
        if found.signal in _COUNTERS:
            return list(_COUNTERS).index(found.signal), "", found.index
        fixed = (BLANK, CLOCK, *RESETS, *SYNCS, *RAILS, *_SUPPLY)
        if name in fixed:
            return 5, "", fixed.index(name)
        return (3 if name in self.gates.makers else 4), name, 0
