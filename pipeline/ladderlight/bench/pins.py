"""The memories' pins: the lines that they are wired to, and their names in words."""

import re
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

from ladderlight.board import Board, Device, Memory
from ladderlight.board.model.lines import Signal
from ladderlight.devices.pinouts import pinout_of

_NUMBERED = re.compile(r"([AD])(\d+)")


@dataclass(frozen=True, kw_only=True)
class Pin:
    """One pin of a chip.

    ``number`` is None where the package is not known. ``line`` is the line as a recipe writes it: ``x5``, ``!y8``,
    ``x2^map.d6``, ``g0``, ``low``; the data line's own name where several pixels share a word; empty for a pin that is
    left open and for supply and control pins.
    """

    number: int | None
    name: str
    line: str = ""

    @property
    def where(self) -> str:
        """The pin within its chip: ``pin 13 (D0)``, or ``D0`` where the package is not known."""
        return self.name if self.number is None else f"pin {self.number} ({self.name})"

    @property
    def bit(self) -> tuple[str, int] | None:
        """``("A", 3)`` for address pin A3, ``("D", 0)`` for data pin D0; None for other pins."""
        match = _NUMBERED.fullmatch(self.name)
        return (match[1], int(match[2])) if match else None


@dataclass(frozen=True, kw_only=True)
class ChipPins:
    """A memory chip in its socket: ``label`` is the socket's, U1 and so on in the order of the board's chips.

    ``pins`` are in the order of the package, or address and data pins, then control and supply pins, when it is not
    known.
    """

    label: str
    device: Device
    pins: tuple[Pin, ...]


def pins_of(board: Board) -> tuple[ChipPins, ...]:
    """Return the pins of every memory chip of a board, in the order of ``board.devices``."""
    return tuple(
        ChipPins(label=board.sockets[device.name], device=device, pins=_pins(board, device)) for device in board.devices
    )


def _pins(board: Board, device: Device) -> tuple[Pin, ...]:
    part, memory = device.part, board.memory(device.memory)
    pinout = pinout_of(part)
    addresses, outputs = (f"A{bit}" for bit in range(part.address_pins)), (f"D{bit}" for bit in range(part.width))
    names = pinout.names if pinout else (*addresses, *outputs, "/CE", "/OE", "VCC", "GND")
    pins = (Pin(number=place if pinout else None, name=name) for place, name in enumerate(names, start=1))
    return tuple(Pin(number=pin.number, name=pin.name, line=_line(board, memory, pin.bit)) for pin in pins)


def _line(board: Board, memory: Memory, bit: tuple[str, int] | None) -> str:
    match bit:
        case ("A", place):
            return str(memory.address[place]) if place < len(memory.address) else "low"
        case ("D", place):
            return data_line(board, memory, place)
        case _:
            return ""


def data_line(board: Board, memory: Memory, pin: int) -> str:
    """Return the line that a data pin drives: by its own name, or as ``map.d3``; empty when nothing uses it."""
    bit = pin % memory.pixel_width
    name = memory.data[bit] if bit < len(memory.data) else "-"
    if name != "-":
        return name
    output = f"{memory.name}.d{bit}"
    used = {line.name for other in board.memories for line in board.address_lines(other)}
    return output if output in used else ""


Bus = Literal["address", "data"]
_LETTER: dict[Bus, str] = {"address": "A", "data": "D"}


@dataclass(frozen=True, kw_only=True)
class ChipPin:
    """A pin to check: the ``chip``, the ``pin`` of its package where that is known, its ``name``, and its ``line``.

    For a resistor that is its label, no pin, its value and the line at its first end.
    """

    chip: str
    pin: int | None
    name: str
    line: str

    def __str__(self) -> str:
        """Return the pin in words: ``picture pin 7, A3 (x5)``."""
        number = f" pin {self.pin}," if self.pin is not None else ""
        return f"{self.chip}{number} {self.name}" + (f" ({self.line})" if self.line else "")


@dataclass(frozen=True, kw_only=True)
class Pins:
    """Names of a device's pins."""

    board: Board
    device: Device

    @property
    def ones(self) -> int:
        """A word with all bits set."""
        return (1 << self.device.part.width) - 1

    def data(self, pin: int) -> str:
        """Name a data pin and the line that it drives."""
        return self._named("data", pin)

    def address(self, pin: int) -> str:
        """Name an address pin and what drives it."""
        return self._named("address", pin)

    def line(self, bus: Bus, pin: int) -> str:
        """Return the line at a pin; empty where there is none."""
        memory = self.board.memory(self.device.memory)
        if bus == "data":
            return data_line(self.board, memory, pin)
        return str(memory.address[pin]) if pin < len(memory.address) else "low"

    def at(self, bus: Bus, pin: int) -> ChipPin:
        """Return a pin to check."""
        return self.named(f"{_LETTER[bus]}{pin}", self.line(bus, pin))

    def named(self, name: str, line: str = "") -> ChipPin:
        """Return the pin of a name to check, or the one of whose names it is the first: ``/OE`` for ``/OE/VPP``."""
        found = (pin.number for pin in self._pins if pin.name == name or pin.name.startswith(f"{name}/"))
        return ChipPin(chip=self.device.name, pin=next(found, None), name=name, line=line)

    def neighbours(self, bus: Bus) -> list[tuple[int, int]]:
        """Return the pairs of pins of a bus that lie side by side, in the package or by their numbers in the bus."""
        count = self.device.part.address_pins if bus == "address" else self.device.part.width
        pairs = {(pin, pin + 1) for pin in range(count - 1)}
        half = len(self._pins) // 2  # the pins there and after it face each other
        for pin, after in pairwise(self._pins):
            if pin.number not in {None, half} and pin.bit and after.bit and pin.bit[0] == after.bit[0] == _LETTER[bus]:
                pairs.add((min(pin.bit[1], after.bit[1]), max(pin.bit[1], after.bit[1])))
        return sorted(pairs)

    @cached_property
    def _pins(self) -> tuple[Pin, ...]:
        return next((chip.pins for chip in pins_of(self.board) if chip.device == self.device), ())

    def bank_pins(self) -> list[tuple[int, int]]:
        """Address pins of this device that one bank line alone drives, with that line's bit of a bank's number."""
        lines = self.board.memory(self.device.memory).address[: self.device.part.address_pins]
        return [
            (pin, self.board.bank_lines.index(expression.lines[0].index))
            for pin, expression in enumerate(lines)
            if len(expression.lines) == 1 and expression.lines[0].signal is Signal.BANK
        ]

    def _named(self, bus: Bus, pin: int) -> str:
        line = self.line(bus, pin)
        return f"{_LETTER[bus]}{pin}" + (f" ({line})" if line else "")
