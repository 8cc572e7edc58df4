"""Resistor ladders: from the levels of their lines to the voltages at the monitor."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.network import GROUND, Driver, Resistor, Solution, solve

GUNS = ("red", "green", "blue")


@dataclass(frozen=True, kw_only=True)
class Channel:
    """One output of the ladder network.

    A weighted channel has one resistor per line. An R-2R channel (``r2r`` set to R in ohms) has its lines from least to
    most significant in ``resistors``, each with 2R, and R between the steps. ``guns`` are the monitor inputs it feeds.
    """

    name: str
    resistors: Mapping[str, float] = field(hash=False)
    guns: tuple[int, ...]
    r2r: float | None = None

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines that feed this channel."""
        return tuple(self.resistors)


@dataclass(frozen=True, kw_only=True)
class Ladder:
    """The ladders of all channels with their drivers and the monitor's load. Volts and ohms.

    ``load`` is that of one monitor input. A channel that feeds several guns is loaded by all of them in parallel.
    """

    supply: float
    channels: tuple[Channel, ...]
    load: float = 75.0
    peak: float = 0.7
    driver_high: float = 0.0
    driver_low: float = 0.0
    tolerance: float = 0.0

    @cached_property
    def lines(self) -> tuple[str, ...]:
        """All lines, each once, in the order in which the channels name them."""
        return tuple(dict.fromkeys(line for channel in self.channels for line in channel.lines))

    def resistors_of(self, channel: Channel) -> list[Resistor]:
        """Give a channel's resistors, the load included. The output is the node of the channel's name."""
        load = Resistor(a=channel.name, b=GROUND, ohms=self.load / len(channel.guns))
        if channel.r2r is None:
            return [Resistor(a=_pin(line), b=channel.name, ohms=r) for line, r in channel.resistors.items()] + [load]
        steps = [f"{channel.name}:{step}" for step in range(len(channel.lines) - 1)] + [channel.name]
        rungs = [
            Resistor(a=_pin(line), b=step, ohms=ohms)
            for (line, ohms), step in zip(channel.resistors.items(), steps, strict=True)
        ]
        rails = [Resistor(a=a, b=b, ohms=channel.r2r) for a, b in zip(steps, steps[1:], strict=False)]
        return [*rungs, *rails, Resistor(a=steps[0], b=GROUND, ohms=2 * channel.r2r), load]

    def groups(self) -> Iterator[tuple[tuple[Channel, ...], tuple[str, ...]]]:
        """Yield the channels that share lines together, with their lines."""
        left = list(self.channels)
        while left:
            group = [left.pop(0)]
            lines = set(group[0].lines)
            grown = True
            while grown:
                joined = [channel for channel in left if lines & set(channel.lines)]
                grown = bool(joined)
                group += joined
                lines.update(line for channel in joined for line in channel.lines)
                left = [channel for channel in left if channel not in joined]
            yield tuple(group), tuple(line for line in self.lines if line in lines)

    def solve_group(self, channels: tuple[Channel, ...], lines: tuple[str, ...]) -> Solution:
        """Solve some channels for all states of their lines; bit i of the state's number is line i."""
        resistors = [resistor for channel in channels for resistor in self.resistors_of(channel)]
        drivers = [
            Driver(node=_pin(line), supply=self.supply, high=self.driver_high, low=self.driver_low) for line in lines
        ]
        numbers = np.arange(1 << len(lines))
        states = (numbers[:, None] >> np.arange(len(lines))) & 1 == 1
        return solve(resistors, drivers, states)

    def gun_volts(self, levels: Mapping[str, NDArray[np.integer]], count: int) -> NDArray[np.float64]:
        """Voltages at the three guns.

        Parameters
        ----------
        levels
            For each line its level, 0 or 1, in ``count`` states.
        count
            Number of states.

        Returns
        -------
        float64, shape (count, 3), in volts; 0 for a gun that no channel feeds.
        """
        volts = np.zeros((count, 3))
        for channels, lines in self.groups():
            solution = self.solve_group(channels, lines)
            state = np.zeros(count, dtype=np.int64)
            for position, line in enumerate(lines):
                state |= levels[line].astype(np.int64) << position
            for channel in channels:
                for gun in channel.guns:
                    volts[:, gun] = solution.at(channel.name)[state]
        return volts


def _pin(line: str) -> str:
    return f"line {line}"
