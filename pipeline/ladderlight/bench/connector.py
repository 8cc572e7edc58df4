"""The monitor's connector and the resistors that lead to it."""

from dataclasses import dataclass

from ladderlight.board import Board
from ladderlight.board.ladders.analysis import analyse
from ladderlight.board.model.ladder import GUNS, LOAD, mark_of, pin
from ladderlight.board.model.network import GROUND
from ladderlight.units.words import joined

SOCKET = "J1"
PINS = ("red", "green", "blue", "", "ground", "red return", "green return", "blue return", "", "sync ground")
"""Signals of pins 1 to 10 of the 15-pin connector of analogue monitors (DE-15); common practice, from memory."""
SYNCS = {"hsync": 13, "vsync": 14}
"""Pins of line and frame sync (common practice, from memory)."""
LAST_PIN = 15


@dataclass(frozen=True, kw_only=True)
class FittedResistor:
    """A resistor of a ladder: its label, from which line or node to which, ohms, and the most that it dissipates.

    ``line`` is the ladder's line at its first end, empty between two nodes of an R-2R ladder. ``start`` and ``end`` are
    the two ends in words.
    """

    label: str
    channel: str
    line: str
    start: str
    end: str
    ohms: float
    watts: float

    @property
    def value(self) -> str:
        """The value in the letter code of IEC 60062, such as ``3k3``."""
        return mark_of(self.ohms)


def resistors_of(board: Board) -> tuple[FittedResistor, ...]:
    """Return the ladders' resistors, labelled R1 and so on through all channels."""
    found: list[FittedResistor] = []
    powers = iter(analyse(board.ladder).resistors)
    for channel in board.ladder.channels:
        lines = {pin(line): line for line in channel.lines}
        names = {channel.name: output(channel.guns), GROUND: "GND"} | {
            node: f"line {line}" for node, line in lines.items()
        }
        for resistor in board.ladder.resistors_of(channel):
            if resistor.name == LOAD:
                continue
            start, end = (names.get(node) or _between(node) for node in (resistor.a, resistor.b))
            found.append(
                FittedResistor(
                    label=f"R{len(found) + 1}",
                    channel=channel.name,
                    line=lines.get(resistor.a, ""),
                    start=start,
                    end=end,
                    ohms=resistor.ohms,
                    watts=next(powers).watts,
                )
            )
    return tuple(found)


def output(guns: tuple[int, ...]) -> str:
    """Return the connector's pins of some guns, 0 for red: ``J1 pin 1 (red)``."""
    pins = joined([f"{gun + 1}" for gun in guns])
    return f"{SOCKET} pin{'s' * (len(guns) > 1)} {pins} ({joined([GUNS[gun] for gun in guns])})"


def _between(node: str) -> str:
    """Return a node inside a channel in words: a step of an R-2R ladder, or the middle of two resistors in series."""
    channel, _, place = node.partition(":")
    return f"{channel} step {int(place) + 1}" if place.isdigit() else f"middle of {place}"
