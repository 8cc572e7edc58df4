"""Analysis of a ladder: levels, steps, tolerance, currents and power."""

from dataclasses import replace
from functools import lru_cache
from math import inf, isinf

import numpy as np

from ladderlight.board.ladders.tolerance import WHITE_HIGH, WHITE_LOW, Spread, spread, worst_levels, worst_steps
from ladderlight.board.model.ladder import LOAD, Channel, Ladder, all_states
from ladderlight.board.model.network import GROUND, Network, Solution
from ladderlight.board.model.palette import light_of, srgb8_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags

SAMPLES = 2000
SEED = 1
_MOST_DRAWN = 1 << 22


class Level(Frozen):
    """One level of a channel, in volts. Codes count with the least significant line as bit 0.

    ``ideal`` is that of equal steps from 0 V to the peak. ``step`` is what the code is above the one before; ``dnl``
    that step, and ``inl`` the level itself, against equal steps from the channel's own black to its own white, both in
    such steps. ``lowest`` and ``highest`` are the worst case of the tolerance; ``crosstalk`` is how far lines of other
    channels can raise the level through drivers that are shared. ``open_volts`` is what a meter shows without the
    monitor while the lines of other channels are low, None where nothing holds the output. ``drive`` is the share of
    the peak, ``srgb`` 0 to 255.
    """

    code: int
    volts: float
    ideal: float
    step: float | None
    dnl: float | None
    inl: float
    lowest: float
    highest: float
    crosstalk: float
    open_volts: float | None
    drive: float
    srgb: int

    @property
    def error(self) -> float:
        """Volts above the ideal level."""
        return self.volts - self.ideal


class ChannelAnalysis(Frozen):
    """One channel. ``lines`` are least significant first; volts, and steps for ``max_dnl`` and ``max_inl``.

    ``surely_monotonic``: the levels ascend at every corner of the tolerance. ``spread`` is None for exact
    resistors. ``open_white`` is what a meter shows without the monitor while all lines are high, in volts.
    """

    name: str
    guns: tuple[int, ...]
    lines: tuple[str, ...]
    levels: tuple[Level, ...]
    monotonic: bool
    surely_monotonic: bool
    max_error: float
    max_dnl: float
    max_inl: float
    open_white: float
    spread: Spread | None

    @property
    def black(self) -> float:
        """Volts of code 0."""
        return self.levels[0].volts

    @property
    def white(self) -> float:
        """Volts of a white screen: the highest code, while the other channels show theirs."""
        return self.levels[-1].volts + self.levels[-1].crosstalk

    @property
    def white_within(self) -> bool:
        """Whether white is within the video signal standard."""
        return WHITE_LOW <= self.white <= WHITE_HIGH


class DriverCurrent(Frozen):
    """The most, in amperes, that a line's driver has to source when high, and to sink when low, over all codes."""

    line: str
    source: float
    sink: float


class ResistorPower(Frozen):
    """The most, in watts, that one resistor dissipates over all codes. ``part`` is its line or its place in R-2R."""

    channel: str
    part: str
    ohms: float
    watts: float


class LadderAnalysis(Frozen):
    """A whole ladder. ``supply_current`` is the most that all high drivers together take, in amperes."""

    channels: tuple[ChannelAnalysis, ...]
    drivers: tuple[DriverCurrent, ...]
    resistors: tuple[ResistorPower, ...]
    supply_current: float


@lru_cache(maxsize=16)  # reports, findings and plots of one board share it
def analyse(ladder: Ladder) -> LadderAnalysis:
    """Analyse a ladder, with ``SAMPLES`` drawn within the tolerance; fewer for channels of very many codes.

    The monitor's load and the drivers' resistances are taken as exact. Datasheets give limits for the latter: analyse
    the ladder at each.
    """
    channels: list[ChannelAnalysis] = []
    drivers: dict[str, DriverCurrent] = {}
    resistors: list[ResistorPower] = []
    supply = 0.0
    for group, lines in ladder.groups():
        network = ladder.network(group, lines)
        unloaded = replace(ladder, load=inf).network(group, lines)
        channels += (_channel(ladder, channel, network, unloaded, lines) for channel in group)
        states = all_states(len(lines))
        solution = network.solve(states)
        source, sink = np.where(states, solution.currents, 0.0), np.where(states, 0.0, -solution.currents)
        for line, high, low in zip(lines, source.max(axis=0).tolist(), sink.max(axis=0).tolist(), strict=True):
            drivers[line] = DriverCurrent(line=line, source=high, sink=low)
        resistors += _powers(ladder, group, solution)
        supply += float(source.sum(axis=1).max(initial=0.0))
    order = {channel.name: position for position, channel in enumerate(ladder.channels)}
    return LadderAnalysis(
        channels=tuple(sorted(channels, key=lambda found: order[found.name])),
        drivers=tuple(drivers[line] for line in ladder.lines),
        resistors=tuple(sorted(resistors, key=lambda found: order[found.channel])),
        supply_current=supply,
    )


def _channel(
    ladder: Ladder, channel: Channel, network: Network, unloaded: Network, lines: tuple[str, ...]
) -> ChannelAnalysis:
    own = channel.weighted_lines
    columns = [lines.index(line) for line in own]
    states = np.zeros((1 << len(own), len(lines)), dtype=bool)
    states[:, columns] = all_states(len(own))
    with_others = np.ones_like(states)
    with_others[:, columns] = all_states(len(own))
    volts = network.solve(states).at(channel.name)
    raised = network.solve(with_others).at(channel.name) - volts
    tolerance = np.array([0.0 if r.name == LOAD else ladder.tolerance for r in network.resistors])
    lowest, highest = worst_levels(network, channel.name, states, tolerance)
    smallest_steps = worst_steps(network, channel.name, states, tolerance)
    steps = np.diff(volts)
    top = len(volts) - 1
    even = (volts[-1] - volts[0]) / top or 1.0
    dnl = steps / even - 1
    inl = (volts - volts[0]) / even - np.arange(top + 1)
    ideal = ladder.peak * np.arange(top + 1) / top
    drive = np.clip(volts / ladder.peak, 0.0, 1.0)
    srgb = srgb8_of(light_of(drive, ladder))
    open_volts = _open_volts(unloaded, channel, states)
    samples = min(SAMPLES, _MOST_DRAWN // len(states)) if ladder.tolerance else 0
    return ChannelAnalysis(
        name=channel.name,
        guns=channel.guns,
        lines=own,
        levels=tuple(
            Level(
                code=code,
                volts=float(volts[code]),
                ideal=float(ideal[code]),
                step=float(steps[code - 1]) if code else None,
                dnl=float(dnl[code - 1]) if code else None,
                inl=float(inl[code]),
                lowest=round(float(lowest[code]), 12) + 0.0,  # no -0 where only rounding is left
                highest=round(float(highest[code]), 12) + 0.0,
                crosstalk=float(raised[code]),
                open_volts=open_volts[code],
                drive=float(drive[code]),
                srgb=int(srgb[code]),
            )
            for code in range(top + 1)
        ),
        monotonic=bool((steps > 0).all()),
        surely_monotonic=bool((smallest_steps > 0).all()),
        max_error=float(np.abs(volts - ideal).max()),
        max_dnl=float(np.abs(dnl).max()),
        max_inl=float(np.abs(inl).max()),
        open_white=float(unloaded.solve(np.ones((1, len(lines)), dtype=bool)).at(channel.name)[0]),
        spread=spread(network, channel.name, states, tolerance, samples=samples, seed=SEED) if samples else None,
    )


def _open_volts(unloaded: Network, channel: Channel, states: Flags) -> list[float | None]:
    """Volts with no monitor at any channel, the other channels' lines low; None for states in which all floats."""
    grounded = any(GROUND in (resistor.a, resistor.b) and resistor.ohms < inf for resistor in unloaded.resistors)
    always = grounded or not any(isinf(driver.low_ohms) for driver in unloaded.drivers)
    held = np.logical_or(states.any(axis=1), always)
    volts = iter(unloaded.solve(states[held]).at(channel.name).tolist())
    return [next(volts) if here else None for here in held.tolist()]


def _powers(ladder: Ladder, group: tuple[Channel, ...], solution: Solution) -> list[ResistorPower]:
    return [
        ResistorPower(
            channel=channel.name,
            part=resistor.name,
            ohms=resistor.ohms,
            watts=float(((solution.at(resistor.a) - solution.at(resistor.b)) ** 2 / resistor.ohms).max()),
        )
        for channel in group
        for resistor in ladder.resistors_of(channel)
        if resistor.name != LOAD
    ]
