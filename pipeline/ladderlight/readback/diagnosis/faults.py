"""A fault of a chip, its socket or its programming, and the pins of the device that it concerns."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Device
from ladderlight.board.model.lines import Signal
from ladderlight.units.arrays import Words

Places = NDArray[np.int64]
WordsAt = Callable[[Places], Words]
Kind = Literal[
    "earlier_burn",
    "other_device",
    "other_recipe",
    "blank",
    "all_zero",
    "unfinished",
    "data_inverted",
    "data_reversed",
    "data_stuck",
    "data_swapped",
    "data_bridged",
    "address_stuck",
    "address_inverted",
    "address_swapped",
    "byte_order",
    "bank_order",
    "piece_order",
    "shifted",
]


@dataclass(frozen=True, kw_only=True, eq=False)
class Fault:
    """One fault that may have happened: its ``kind``, the ``lines`` concerned, and the same in words.

    ``words`` gives what it leads to at some addresses, int64 of any shape.
    """

    kind: Kind
    text: str
    words: WordsAt = field(repr=False)
    lines: tuple[str, ...] = ()


def fixed(kind: Kind, text: str, words: Words) -> Fault:
    """Return a fault that leads to these words, or contents that are these words."""
    return Fault(kind=kind, text=text, words=lambda at: words[at])


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
        memory = self.board.memory(self.device.memory)
        bit = pin % memory.pixel_width
        name = memory.data[bit] if bit < len(memory.data) else "-"
        return f"D{pin}" if name == "-" else f"D{pin} ({name})"

    def address(self, pin: int) -> str:
        """Name an address pin and what drives it."""
        lines = self.board.memory(self.device.memory).address
        return f"A{pin} ({lines[pin]})" if pin < len(lines) else f"A{pin}"

    def bank_pins(self) -> list[tuple[int, int]]:
        """Address pins of this device that one bank line alone drives, with that line's bit of a bank's number."""
        lines = self.board.memory(self.device.memory).address[: self.device.part.address_pins]
        return [
            (pin, self.board.bank_lines.index(expression.lines[0].index))
            for pin, expression in enumerate(lines)
            if len(expression.lines) == 1 and expression.lines[0].signal is Signal.BANK
        ]
