"""The monitor's connector, the resistors that lead to it, and what a meter reads there."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf, isinf

import numpy as np

from ladderlight.board import Board, Channel, Ladder
from ladderlight.board.ladders.analysis import analyse
from ladderlight.board.ladders.tolerance import worst_levels
from ladderlight.board.model.ladder import GUNS, LOAD, mark_of, pin
from ladderlight.board.model.network import GROUND, Network
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags
from ladderlight.units.words import joined

SOCKET = "J1"
SYNCS = ("hsync", "vsync")
_RETURNS = ("red return", "green return", "blue return")
PINS = ("red", "green", "blue", "", "ground", *_RETURNS, "", "sync ground", "", "", *SYNCS, "")
"""Signals of the pins of the 15-pin connector of analogue monitors (DE-15); common practice, from memory."""
_USUAL = 0.05


class FittedResistor(Frozen):
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


class Volts(Frozen):
    """A voltage with the limits that the resistors' tolerance sets."""

    nominal: float
    lowest: float
    highest: float


class Reading(Frozen):
    """A reading at a channel's output while ``high`` are high and all other lines low.

    ``words`` are what each memory's data pins must show, by memory; ``unloaded`` is without the monitor, None where
    nothing holds the output then. ``currents`` are what each high line's driver gives with the monitor, in amperes.
    """

    high: tuple[str, ...]
    words: dict[str, int]
    channel: str
    at: str
    loaded: Volts
    unloaded: Volts | None
    currents: dict[str, float]


def readings_of(board: Board) -> tuple[Reading, ...]:
    """Return the readings for no line, each line alone, and all lines.

    A line alone is read at the channels that it feeds. The monitor's load and the drivers' resistances are exact; the
    resistors are within ``tolerance_of``.
    """
    ladder = board.ladder
    cases = list(dict.fromkeys([(), *((line,) for line in board.code_lines), board.code_lines]))
    found = [
        reading
        for channel in ladder.channels
        for reading in _readings(board, channel, [high for high in cases if len(high) != 1 or high[0] in channel.lines])
    ]
    return tuple(sorted(found, key=lambda reading: cases.index(reading.high)))


def tolerance_of(ladder: Ladder) -> float:
    """Return the resistors' tolerance, 0.05 for 5 %: a ladder's own, or 5 % where none is stated (common practice)."""
    return ladder.tolerance or _USUAL


def shown_share(board: Board) -> float:
    """Return the share of the time in which the picture is not blanked, 0 to 1: a meter shows the average."""
    x, y = board.raster.x, board.raster.y
    return x.visible * y.visible / (x.total * y.total)


def words_for(board: Board, high: tuple[str, ...]) -> dict[str, int]:
    """Return the words with some lines high and the others low, by memory; every pixel of a packed word is the same."""
    return {
        memory.name: sum(
            1 << slot * memory.pixel_width + bit
            for slot in range(memory.packing.pixels)
            for bit, line in enumerate(memory.data)
            if line in high
        )
        for memory in board.driving_memories
    }


def loaded_volts(ladder: Ladder, high: tuple[str, ...], channel: Channel) -> Volts:
    """Return a channel's voltage with the monitor, while some lines are high and all others low."""
    channels, lines = next(group for group in ladder.groups() if channel in group[0])
    states = np.array([[line in high for line in lines]])
    return _volts(ladder.network(channels, lines), channel, states, tolerance_of(ladder))[0]


def _readings(board: Board, channel: Channel, cases: Sequence[tuple[str, ...]]) -> Iterator[Reading]:
    ladder = board.ladder
    channels, lines = next(group for group in ladder.groups() if channel in group[0])
    states = np.array([[line in high for line in lines] for high in cases])
    network = ladder.network(channels, lines)
    currents = network.solve(states).currents
    open_network = replace(ladder, load=inf).network(channels, lines)
    grounded = any(GROUND in (one.a, one.b) and one.ohms < inf for one in open_network.resistors)
    held = np.logical_or(states.any(axis=1), not isinf(ladder.driver_low) or grounded)
    loaded = _volts(network, channel, states, tolerance_of(ladder))
    unloaded = iter(_volts(open_network, channel, states[held], tolerance_of(ladder)))
    for case, high in enumerate(cases):
        yield Reading(
            high=high,
            words=words_for(board, high),
            channel=channel.name,
            at=output(channel.guns),
            loaded=loaded[case],
            unloaded=next(unloaded) if held[case] else None,
            currents={line: float(currents[case, lines.index(line)]) for line in channel.lines if line in high},
        )


def _volts(network: Network, channel: Channel, states: Flags, tolerance: float) -> list[Volts]:
    share = np.array([0.0 if resistor.name == LOAD else tolerance for resistor in network.resistors])
    nominal = network.solve(states).at(channel.name)
    figures = np.stack([nominal, *worst_levels(network, channel.name, states, share)], axis=1).round(12) + 0.0  # no -0
    return [Volts(nominal=at, lowest=low, highest=high) for at, low, high in figures.tolist()]


def steps_of(readings: tuple[Reading, ...]) -> Iterator[tuple[tuple[str, ...], list[Reading]]]:
    """Yield which lines are high in each case, in order, with the readings to take then."""
    for high in dict.fromkeys(reading.high for reading in readings):
        yield high, [reading for reading in readings if reading.high == high]
