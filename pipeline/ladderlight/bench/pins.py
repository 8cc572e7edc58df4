"""The memories' pins: the lines that they are wired to, and their names in words."""

import re
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

from ladderlight.board import Board, Device, Memory
from ladderlight.board.model.lines import Signal
from ladderlight.devices.pinouts import pinout_of
from ladderlight.system.frozen import Frozen

Bus = Literal["address", "data"]
_BUSES: dict[str, Bus] = {"A": "address", "D": "data"}
_NUMBERED = re.compile(r"([AD])(\d+)")


@dataclass(frozen=True)
class Pin:
    """One pin of a chip.

    ``number`` is None where the package is not known. ``line`` is the line as a recipe writes it: ``x5``, ``!y8``,
    ``x2^map.d6``, ``g0``, ``low``; the data line's own name where several pixels share a word; empty for a pin that is
    left open. ``to`` is where it leads, in words. Before it is wired that is empty, like the line of a control pin.
    """

    number: int | None
    name: str
    line: str = ""
    to: str = ""

    @property
    def where(self) -> str:
        """The pin within its chip: ``pin 13 (D0)``, or ``D0`` where the package is not known."""
        return self.name if self.number is None else f"pin {self.number} ({self.name})"

    @property
    def bit(self) -> tuple[str, int] | None:
        """``("A", 3)`` for address pin A3, ``("D", 0)`` for data pin D0; None for other pins."""
        match = _NUMBERED.fullmatch(self.name)
        return (match[1], int(match[2])) if match else None


def data_line(board: Board, memory: Memory, pin: int) -> str:
    """Return the line that a data pin drives: by its own name, or as ``map.d3``; empty when nothing uses it."""
    bit = pin % memory.pixel_width
    name = memory.data[bit] if bit < len(memory.data) else "-"
    if name != "-":
        return name
    output = f"{memory.name}.d{bit}"
    used = {line.name for other in board.memories for line in board.address_lines(other)}
    return output if output in used else ""


class ChipPin(Frozen):
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


class Pins(Frozen):
    """The pins of a memory chip, or of all chips of a memory as if they were one."""

    board: Board
    device: Device

    @property
    def label(self) -> str:
        """The socket: U1 and so on, in the order of the board's chips."""
        return self.board.sockets[self.device.name]

    @property
    def memory(self) -> Memory:
        """The memory of the chip."""
        return self.board.memory(self.device.memory)

    @property
    def ones(self) -> int:
        """A word with all bits set."""
        return (1 << self.device.part.width) - 1

    @cached_property
    def pins(self) -> tuple[Pin, ...]:
        """The pins in the order of the package.

        Where that is not known, address and data pins, then control and supply pins; none for several chips as one.
        """
        if self.device not in self.board.devices:
            return ()
        part = self.device.part
        pinout = pinout_of(part)
        addresses, outputs = (f"A{bit}" for bit in range(part.address_pins)), (f"D{bit}" for bit in range(part.width))
        names = pinout.names if pinout else (*addresses, *outputs, "/CE", "/OE", "VCC", "GND")
        lines = (self.line(_BUSES[bit[1]], int(bit[2])) if bit else "" for bit in map(_NUMBERED.fullmatch, names))
        numbers = range(1, len(names) + 1) if pinout else [None] * len(names)
        return tuple(map(Pin, numbers, names, lines))

    def line(self, bus: Bus, pin: int) -> str:
        """Return the line at a pin; empty where there is none."""
        if bus == "data":
            return data_line(self.board, self.memory, pin)
        return str(self.memory.address[pin]) if pin < len(self.memory.address) else "low"

    def name(self, bus: Bus, pin: int) -> str:
        """Name a pin and its line: ``A3 (x5)``."""
        line = self.line(bus, pin)
        return f"{bus[0].upper()}{pin}" + (f" ({line})" if line else "")

    def at(self, bus: Bus, pin: int) -> ChipPin:
        """Return a pin to check."""
        return self.named(f"{bus[0].upper()}{pin}", self.line(bus, pin))

    def named(self, name: str, line: str = "") -> ChipPin:
        """Return the pin of a name to check, or the one of whose names it is the first: ``/OE`` for ``/OE/VPP``."""
        found = (pin.number for pin in self.pins if pin.name == name or pin.name.startswith(f"{name}/"))
        return ChipPin(chip=self.device.name, pin=next(found, None), name=name, line=line)

    def neighbours(self, bus: Bus) -> list[tuple[int, int]]:
        """Return the pairs of pins of a bus that lie side by side, in the package or by their numbers in the bus."""
        count = self.device.part.address_pins if bus == "address" else self.device.part.width
        pairs = {(pin, pin + 1) for pin in range(count - 1)}
        half = len(self.pins) // 2  # the pins there and after it face each other
        for pin, after in pairwise(self.pins):
            bits = [each.bit[1] for each in (pin, after) if each.bit and _BUSES[each.bit[0]] == bus]
            if len(bits) == 2 and pin.number not in {None, half}:
                pairs.add((min(bits), max(bits)))
        return sorted(pairs)

    def bank_pins(self) -> list[tuple[int, int]]:
        """Return address pins that one bank line alone drives, each with that line's bit of a bank's number."""
        return [
            (pin, self.board.bank_lines.index(expression.lines[0].index))
            for pin, expression in enumerate(self.memory.address[: self.device.part.address_pins])
            if len(expression.lines) == 1 and expression.lines[0].signal is Signal.BANK
        ]


def pins_of(board: Board, *memories: Memory) -> tuple[Pins, ...]:
    """Return the pins of the chips of some memories, or of every chip of a board, in the order of its devices."""
    devices = (device for memory in memories or board.memories for device in memory.devices)
    return tuple(Pins(board=board, device=device) for device in devices)
