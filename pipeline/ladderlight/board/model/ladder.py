"""Resistor ladders: from the levels of their lines to the voltages at the monitor."""

from collections.abc import Iterator, Mapping
from dataclasses import field
from functools import cached_property
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.network import GROUND, Driver, Network, Resistor, Solution
from ladderlight.system.frozen import Frozen
from ladderlight.system.value import Value
from ladderlight.units.arrays import Flags, Floats, Ints

Joined = Literal["single", "series", "parallel"]
SIGNS: dict[Joined, str] = {"single": "", "series": " + ", "parallel": " || "}
"""How the parts are written."""
GUNS = ("red", "green", "blue")
LOAD = "load"
"""Name of the monitor's resistance among a channel's resistors."""
Response = Literal["srgb", "tube"]


class Assembly(Frozen):
    """A single resistor, or two in its place: ``parts`` in ohms, ``marks`` as printed where that is something else."""

    parts: tuple[float, ...]
    joined: Joined = "single"
    marks: tuple[str, ...] = ()

    @property
    def ohms(self) -> float:
        """The resistance of all parts together."""
        if self.joined == "parallel":
            return float(self.parts[0] * self.parts[1] / (self.parts[0] + self.parts[1]))
        return float(sum(self.parts))

    def __str__(self) -> str:
        """Return the parts as in a bill of materials: ``1k5``, ``1k5 + 220`` or ``1k5 || 22k``."""
        return SIGNS[self.joined].join(self.marks or map(mark_of, self.parts))

    @property
    def written(self) -> str:
        """As a recipe writes it: the parts as they measure."""
        return SIGNS[self.joined].join(map(mark_of, self.parts))


def mark_of(ohms: float) -> str:
    """Return a resistance in the letter code of IEC 60062, whole ohms without their R: ``3k3``, ``820``, ``10R7``."""
    factor, letter = next((item for item in ((1e6, "M"), (1e3, "k")) if ohms >= item[0] * (1 - 1e-12)), (1.0, "R"))
    text = f"{ohms / factor:.6g}"
    whole, point, part = text.partition(".")
    return f"{whole}{letter}{part}" if point or letter != "R" else text


class Channel(Value):
    """One output of the ladder network.

    A weighted channel has one resistor per line. An R-2R channel (``r2r`` set to R in ohms) has its lines from least to
    most significant in ``resistors``, each with its rung of 2R, R between the steps, and 2R from the first step to
    ground. ``guns`` are the monitor inputs it feeds. ``pairs`` are the two resistors of each line that has two, whose
    resistance together is the line's in ``resistors``.
    """

    name: str
    resistors: Mapping[str, float]
    guns: tuple[int, ...]
    r2r: float | None = None
    pairs: Mapping[str, Assembly] = field(default_factory=dict)

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines that feed this channel."""
        return tuple(self.resistors)

    @property
    def weighted_lines(self) -> tuple[str, ...]:
        """The lines from least to most significant: in R-2R as declared, otherwise the largest resistor first."""
        if self.r2r is not None:
            return self.lines
        return tuple(sorted(self.lines, key=lambda line: -self.resistors[line]))


class Ladder(Value):
    """The ladders of all channels, their drivers and loads, in volts and ohms; all guns of a channel load it."""

    supply: float
    channels: tuple[Channel, ...]
    load: float = 75.0
    """Resistance of one monitor input; infinity is an open connector."""
    peak: float = 0.7
    """Volts at which a gun is fully driven."""
    driver_high: float = 0.0
    """Output resistance of a high line's driver."""
    driver_low: float = 0.0
    """Output resistance of a low line's driver; infinity when a low output floats."""
    low_volts: float = 0.0
    """Volts of an unloaded low output; bipolar outputs stay above 0."""
    tolerance: float = 0.0
    """Largest relative deviation of a resistor from its value; 0.05 is 5 %."""
    response: Response = "srgb"
    """The monitor's curve from drive to light: sRGB, or that of a tube (BT.1886)."""
    tube_black: float = 0.0
    """A tube's light at no drive, as a share of its white; only with ``response="tube"``."""

    @cached_property
    def lines(self) -> tuple[str, ...]:
        """All lines, each once, in the order in which the channels name them."""
        return tuple(dict.fromkeys(line for channel in self.channels for line in channel.lines))

    def resistors_of(self, channel: Channel) -> tuple[Resistor, ...]:
        """Return a channel's resistors, the load last. The output is the node of the channel's name.

        They are named after their lines, the two of a pair ``r0 first`` and ``r0 second``; in R-2R also ``rail 1`` and
        so on and ``termination``; and ``load``. The node between two in series is ``red:r0``.
        """
        load = Resistor(a=channel.name, b=GROUND, ohms=self.load / len(channel.guns), name=LOAD)
        last = len(channel.lines) - 1
        steps = [channel.name] * (last + 1)
        if channel.r2r is not None:
            steps[:last] = [f"{channel.name}:{step}" for step in range(last)]
        rungs = (
            resistor
            for (line, ohms), step in zip(channel.resistors.items(), steps, strict=True)
            for resistor in _rung(channel, line, ohms, step)
        )
        if channel.r2r is None:
            return (*rungs, load)
        rails = (
            Resistor(a=a, b=b, ohms=channel.r2r, name=f"rail {number}")
            for number, (a, b) in enumerate(pairwise(steps), start=1)
        )
        termination = Resistor(a=steps[0], b=GROUND, ohms=2 * channel.r2r, name="termination")
        return (*rungs, *rails, termination, load)

    def groups(self) -> Iterator[tuple[tuple[Channel, ...], tuple[str, ...]]]:
        """Yield the channels that share lines together, with their lines."""
        left = list(self.channels)
        while left:
            group = [left.pop(0)]
            lines = set(group[0].lines)
            while joined := [channel for channel in left if lines & set(channel.lines)]:
                group += joined
                lines.update(*(channel.lines for channel in joined))
                left = [channel for channel in left if channel not in joined]
            yield tuple(group), tuple(line for line in self.lines if line in lines)

    def network(self, channels: tuple[Channel, ...], lines: tuple[str, ...]) -> Network:
        """Return the network of some channels, with a driver for each line in this order."""
        return Network(
            resistors=tuple(resistor for channel in channels for resistor in self.resistors_of(channel)),
            drivers=tuple(
                Driver(
                    node=pin(line),
                    high_volts=self.supply,
                    low_volts=self.low_volts,
                    high_ohms=self.driver_high,
                    low_ohms=self.driver_low,
                )
                for line in lines
            ),
        )

    def solve_group(self, channels: tuple[Channel, ...], lines: tuple[str, ...]) -> Solution:
        """Solve some channels for all states of their lines; bit i of the state's number is line i."""
        return self.network(channels, lines).solve(all_states(len(lines)))

    def gun_volts(self, levels: Mapping[str, NDArray[np.integer]], count: int) -> Floats:
        """Return the guns' volts, float64 (count, 3), by each line's levels, 0 or 1; 0 for a gun that nothing feeds."""
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


def _rung(channel: Channel, line: str, ohms: float, step: str) -> Iterator[Resistor]:
    pair = channel.pairs.get(line)
    if pair is None:
        yield Resistor(a=pin(line), b=step, ohms=ohms, name=line)
        return
    joint = f"{channel.name}:{line}" if pair.joined == "series" else ""
    first, second = pair.parts
    yield Resistor(a=pin(line), b=joint or step, ohms=first, name=f"{line} first")
    yield Resistor(a=joint or pin(line), b=step, ohms=second, name=f"{line} second")


def pin(line: str) -> str:
    """Return the network node at the driver of a line."""
    return f"line {line}"


def all_states(lines: int) -> Flags:
    """Return every state of some lines, bool (2**lines, lines); bit i of a state's number is line i."""
    numbers: Ints = np.arange(1 << lines, dtype=np.int64)
    return (numbers[:, None] >> np.arange(lines) & 1).astype(np.bool_)
