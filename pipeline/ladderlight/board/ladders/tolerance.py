"""A ladder's levels with resistors off their nominal values: the worst case, and a likely spread."""

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from ladderlight.board.model.ladder import LOAD, Ladder, all_states
from ladderlight.board.model.network import Network
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags, Floats

WHITE_LOW, WHITE_HIGH = 0.665, 0.770
"""Volts between which white is as the VESA Video Signal Standard has it: 0.700 V, +0.070 -0.035."""

_NOTHING = 1e-13  # volts below which a gain is rounding
_PERCENTILES = (5.0, 50.0, 95.0)
_MOST_LINES = 9  # lines of one channel whose states' worst corners are looked for all together


class Spread(Frozen):
    """Levels of many ladders whose resistors were drawn at random within their tolerance.

    ``low``, ``middle`` and ``high`` are each level's 5th, 50th and 95th percentile in volts. The shares are those of
    ladders whose levels all ascend, and whose white is within the video signal standard.
    """

    samples: int
    seed: int
    low: tuple[float, ...]
    middle: tuple[float, ...]
    high: tuple[float, ...]
    monotonic: float
    white_within: float


def levels(network: Network, node: str, states: Flags, ohms: Floats | None = None) -> Floats:
    """Volts of one node, float64 (..., states), for resistors of ``ohms`` (..., resistors).

    Where no driver's resistance depends on its level the network is linear in its drivers, and the levels follow by
    superposition from those of each driver alone.
    """
    ohms = (network.ohms if ohms is None else ohms)[..., None, :]
    if any(driver.high_ohms != driver.low_ohms for driver in network.drivers):
        return network.solve(states, ohms).at(node)
    alone = np.concatenate([np.zeros((1, states.shape[-1]), dtype=bool), np.eye(states.shape[-1], dtype=bool)])
    basis = network.solve(alone, ohms).at(node)
    weights = basis[..., 1:] - basis[..., :1]
    volts: Floats = basis[..., :1] + weights @ states.T.astype(np.float64)
    return volts


def worst_levels(network: Network, node: str, states: Flags, tolerance: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest volts of a node in each state.

    A level of a resistive network is a quotient of two linear functions of any one resistor and so has no extremum
    inside its tolerance: the extremes are at corners, where each resistor is at one end. The corner is found by moving
    each resistor to the end that raises the level until none moves. For weighted ladders the direction never depends on
    the others, so this is the worst of all corners; for others the tests compare it with all corners.

    ``states`` bool (states, drivers); ``tolerance`` float64 (resistors,), the largest relative deviation of each.
    """
    lowest = _highest(lambda ohms: -network.solve(states, ohms).at(node), network, tolerance, len(states))
    return -lowest, _highest(lambda ohms: network.solve(states, ohms).at(node), network, tolerance, len(states))


@lru_cache(maxsize=4)  # the pages of all trays share it
def gun_limits(ladder: Ladder, lines: tuple[str, ...]) -> tuple[Floats, Floats] | None:
    """Return the lowest and highest volts of the guns in every state of some lines, each float64 (states, 3).

    Bit i of a state's number is line i. The monitor's load is exact. None for exact resistors, and where more lines
    than nine move one channel: the worst corner of so many states takes too long to find.
    """
    groups = list(ladder.groups())
    if not ladder.tolerance or max(len(own) for _, own in groups) > _MOST_LINES:
        return None
    numbers = np.arange(1 << len(lines))
    limits = np.zeros((2, len(numbers), 3))
    for channels, own in groups:
        network, states = ladder.network(channels, own), all_states(len(own))
        tolerance = np.array([0.0 if resistor.name == LOAD else ladder.tolerance for resistor in network.resistors])
        state = sum((numbers >> lines.index(line) & 1) << bit for bit, line in enumerate(own))
        for channel in channels:
            found = np.stack(worst_levels(network, channel.name, states, tolerance)).round(12) + 0.0  # no -0
            for gun in channel.guns:
                limits[:, :, gun] = found[:, state]
    return limits[0], limits[1]


def worst_steps(network: Network, node: str, states: Flags, tolerance: Floats) -> Floats:
    """Smallest step in volts from each state to the next, float64 (states - 1,), at the worst corner of each step."""
    pairs = np.stack([states[:-1], states[1:]])

    def fall(ohms: Floats) -> Floats:
        both = network.solve(pairs, ohms[..., None, :, :]).at(node)
        step: Floats = both[..., 1, :] - both[..., 0, :]
        return -step

    return -_highest(fall, network, tolerance, len(states) - 1)


def _highest(measure: Callable[[Floats], Floats], network: Network, tolerance: Floats, count: int) -> Floats:
    """Move the resistors of each of ``count`` cases to the ends of their tolerance that raise what is measured."""
    varied = np.flatnonzero((tolerance > 0) & np.isfinite(network.ohms))
    ends = np.stack([network.ohms * (1 - tolerance), network.ohms * (1 + tolerance)])
    cases = np.arange(count)
    ohms = np.repeat(network.ohms[None], count, axis=0)
    best = measure(ohms)
    while len(varied):
        # One trial for each resistor at each end, all in one go: (resistors, ends, cases, resistors).
        trials = np.broadcast_to(ohms, (len(varied), 2, *ohms.shape)).copy()
        for place, resistor in enumerate(varied):
            trials[place, :, :, resistor] = ends[:, None, resistor]
        values = measure(trials)
        gains = values.max(axis=1) - best
        if not (gains > _NOTHING).any():
            break
        better = np.where(gains > _NOTHING, ends[values.argmax(axis=1), varied[:, None]], ohms[:, varied].T)
        # Moving all that gain by themselves gains most, as a rule; otherwise the one that gains most moves alone.
        together, alone = ohms.copy(), ohms.copy()
        together[:, varied] = better.T
        most = gains.argmax(axis=0)
        alone[cases, varied[most]] = better[most, cases]
        value, single = measure(together), best + np.maximum(gains.max(axis=0), 0.0)
        ohms = np.where((value >= single)[:, None], together, alone)
        best = np.maximum(value, single)
    return best


def spread(network: Network, node: str, states: Flags, tolerance: Floats, *, samples: int, seed: int) -> Spread:
    """Return the statistics of ladders drawn evenly within their tolerance, by numpy's PCG64 with ``seed``."""
    rng = np.random.default_rng(seed)
    deviation = rng.uniform(-1.0, 1.0, (samples, len(tolerance))) * tolerance
    volts = levels(network, node, states, network.ohms * (1 + deviation))
    low, middle, high = np.percentile(volts, _PERCENTILES, axis=0)
    white = volts[:, -1]
    return Spread(
        samples=samples,
        seed=seed,
        low=tuple(low.tolist()),
        middle=tuple(middle.tolist()),
        high=tuple(high.tolist()),
        monotonic=float((np.diff(volts, axis=1) > 0).all(axis=1).mean()),
        white_within=float(((white >= WHITE_LOW) & (white <= WHITE_HIGH)).mean()),
    )
