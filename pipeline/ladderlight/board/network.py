"""Resistor networks with switched drivers, solved exactly by nodal analysis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

GROUND = "ground"
_SHORT_OHM = 1e-9
_CHUNK = 4096


@dataclass(frozen=True, kw_only=True)
class Driver:
    """An output that pulls its node to ``supply`` volts through ``high`` ohms, or to ground through ``low`` ohms.

    A resistance of infinity leaves the node floating in that state.
    """

    node: str
    supply: float
    high: float = 0.0
    low: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Resistor:
    """A resistor between two nodes, in ohms."""

    a: str
    b: str
    ohms: float


@dataclass(frozen=True, kw_only=True)
class Solution:
    """Voltages and currents for each state of the drivers.

    ``volts`` float64 (states, nodes), in the order of ``nodes``. ``currents`` float64 (states, drivers): amperes that
    leave each driver, negative when it sinks.
    """

    nodes: tuple[str, ...]
    volts: NDArray[np.float64]
    currents: NDArray[np.float64]

    def at(self, node: str) -> NDArray[np.float64]:
        """Voltages of one node, by state."""
        return self.volts[:, self.nodes.index(node)]


def solve(resistors: Sequence[Resistor], drivers: Sequence[Driver], states: NDArray[np.bool_]) -> Solution:
    """Solve a network for every state of its drivers.

    Parameters
    ----------
    resistors, drivers
        The network. ``"ground"`` is 0 V.
    states
        Booleans, shape (states, drivers): which drivers are high.

    Notes
    -----
    Nodal analysis (Kirchhoff's current law at each node); for one node it is Millman's theorem. A driver of 0 ohm is
    solved as 1 nano-ohm, which moves no voltage of a ladder by more than some picovolts.
    """
    nodes = tuple(
        dict.fromkeys(n for r in resistors for n in (r.a, r.b) if n != GROUND) | dict.fromkeys(d.node for d in drivers)
    )
    index = {node: position for position, node in enumerate(nodes)}
    matrix = np.zeros((len(nodes), len(nodes)))
    for resistor in resistors:
        conductance = 1 / resistor.ohms
        ends = [index[n] for n in (resistor.a, resistor.b) if n != GROUND]
        for end in ends:
            matrix[end, end] += conductance
        if len(ends) == 2:
            matrix[ends[0], ends[1]] -= conductance
            matrix[ends[1], ends[0]] -= conductance
    at = np.array([index[d.node] for d in drivers], dtype=np.intp)
    high = np.array([_conductance(d.high) for d in drivers])
    low = np.array([_conductance(d.low) for d in drivers])
    supply = np.array([d.supply for d in drivers])
    volts = np.empty((len(states), len(nodes)))
    currents = np.empty((len(states), len(drivers)))
    for start in range(0, len(states), _CHUNK):
        part = states[start : start + _CHUNK]
        conductance = np.where(part, high, low)
        batch = np.repeat(matrix[None], len(part), axis=0)
        source = np.zeros((len(part), len(nodes)))
        for position, node in enumerate(at):
            batch[:, node, node] += conductance[:, position]
            source[:, node] += conductance[:, position] * np.where(part[:, position], supply[position], 0.0)
        solved = np.linalg.solve(batch, source[:, :, None])[:, :, 0]
        volts[start : start + _CHUNK] = solved
    flow = np.zeros_like(volts)
    for resistor in resistors:
        a = volts[:, index[resistor.a]] if resistor.a != GROUND else 0.0
        b = volts[:, index[resistor.b]] if resistor.b != GROUND else 0.0
        through = (a - b) / resistor.ohms
        if resistor.a != GROUND:
            flow[:, index[resistor.a]] += through
        if resistor.b != GROUND:
            flow[:, index[resistor.b]] -= through
    currents[:] = flow[:, at]
    return Solution(nodes=nodes, volts=volts, currents=currents)


def _conductance(ohms: float) -> float:
    return 0.0 if ohms == inf else 1 / max(ohms, _SHORT_OHM)
