"""The pins of a chip by bus and number, and their names in words."""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

from ladderlight.bench.pins import Pin, data_line, pins_of
from ladderlight.board import Board, Device
from ladderlight.board.model.lines import Signal

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
