"""The memories' pins and the lines that they are wired to."""

import re
from dataclasses import dataclass

from ladderlight.board import Board, Device, Memory
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
