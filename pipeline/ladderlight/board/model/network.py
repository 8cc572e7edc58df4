"""Resistor networks with switched drivers, solved exactly by nodal analysis."""

from collections.abc import Iterator, Sequence
from functools import cached_property
from math import inf, isinf

import numpy as np

from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags, Floats

GROUND = "ground"
_HELD = 1e-12
"""Least share of a network's conductance that must lead to a known voltage; below it only rounding is left."""


class Driver(Frozen):
    """An output stage: volts behind ohms, high or low. 0 ohm fixes the node's voltage; infinity lets it float."""

    node: str
    high_volts: float
    low_volts: float = 0.0
    high_ohms: float = 0.0
    low_ohms: float = 0.0


class Resistor(Frozen):
    """A resistor between two nodes, in ohms, more than 0; infinity is an open end."""

    a: str
    b: str
    ohms: float
    name: str = ""


class Solution(Frozen, eq=False):
    """Volts, float64 (..., nodes), and amperes that leave each driver, (..., drivers), negative when it sinks."""

    nodes: tuple[str, ...]
    volts: Floats
    currents: Floats

    def at(self, node: str) -> Floats:
        """Voltages of one node, by state."""
        if node == GROUND:
            return np.zeros(self.volts.shape[:-1])
        return self.volts[..., self.nodes.index(node)]


class _End(Frozen, eq=False):
    """A driver as its node's resistors see it, by state.

    ``links`` are the conductance of each resistor at the node and the inner node at its other end, None for ground.
    ``volts`` is the node's voltage while all those ends are at 0 V; ``ohms`` what a current into the node raises it by.
    """

    links: list[tuple[Floats, int | None]]
    volts: Floats
    ohms: Floats

    def settled(self, inner: Floats) -> tuple[Floats, Floats]:
        """Return the node's voltage and the current that leaves the driver, from the inner nodes' voltages."""
        far = [(g, 0.0 if node is None else inner[..., node]) for g, node in self.links]
        volts = self.volts + self.ohms * sum(g * there for g, there in far)
        return volts, np.asarray(sum(g * (volts - there) for g, there in far))


class Network(Frozen):
    """Resistors above 0 ohm, and drivers. Raises ValueError when two drivers share a node or are joined directly."""

    resistors: tuple[Resistor, ...]
    drivers: tuple[Driver, ...]

    def __post_init__(self) -> None:
        """Refuse what the elimination below cannot do."""
        driven = {driver.node for driver in self.drivers}
        if len(driven) < len(self.drivers):
            raise ValueError("two drivers share a node")
        for resistor in self.resistors:
            if resistor.a in driven and resistor.b in driven:
                raise ValueError(f"a resistor joins the drivers of {resistor.a!r} and {resistor.b!r} directly")
            if not resistor.ohms > 0:
                raise ValueError(f"a resistor of {resistor.ohms} ohm; it must be more than 0")

    @cached_property
    def ohms(self) -> Floats:
        """Nominal values, float64 (resistors,)."""
        return np.array([resistor.ohms for resistor in self.resistors])

    @cached_property
    def inner(self) -> tuple[str, ...]:
        """The nodes that neither a driver nor ground fixes."""
        outside = {GROUND, *(driver.node for driver in self.drivers)}
        ends = dict.fromkeys(node for resistor in self.resistors for node in (resistor.a, resistor.b))
        return tuple(node for node in ends if node not in outside)

    def _links(self, node: str) -> Iterator[tuple[int, int | None]]:
        index = {name: position for position, name in enumerate(self.inner)}
        for position, resistor in enumerate(self.resistors):
            if node in (resistor.a, resistor.b):
                yield position, index.get(resistor.b if resistor.a == node else resistor.a)

    def solve(self, states: Flags, ohms: Floats | None = None) -> Solution:
        """Solve the network for every state of its drivers.

        Raises ValueError when in some state nothing holds the voltages: no load, and every driver floating.

        Kirchhoff's current law at each inner node; for a single one it is Millman's theorem. A driver of E volts behind
        r ohms, whose node has the conductances g_k (their sum G) to the inner nodes, is eliminated beforehand: it adds
        ``diag(g) - g g' r / (1 + r G)`` to the matrix and ``g E / (1 + r G)`` to the currents, which is exact for r = 0
        and has the limit ``diag(g) - g g' / G`` and 0 for a driver that floats.

        ``states`` bool (..., drivers): which drivers are high. ``ohms`` (..., resistors): other values of the resistors
        than their nominal ones, for example drawn within a tolerance. The leading dimensions of both are broadcast.
        """
        conductance = 1 / (self.ohms if ohms is None else np.asarray(ohms, dtype=np.float64))
        batch = np.broadcast_shapes(states.shape[:-1], conductance.shape[:-1])
        ends = [self._end(driver, states[..., place], conductance) for place, driver in enumerate(self.drivers)]
        matrix, fed = self._equations(conductance, ends, batch)
        if fed.shape[-1] and (matrix.sum(axis=(-2, -1)) <= _HELD * np.trace(matrix, axis1=-2, axis2=-1)).any():
            raise ValueError("in some state nothing holds the voltages: no load, and every driver floating")
        solved = np.asarray(np.linalg.solve(matrix, fed[..., None])[..., 0], dtype=np.float64)
        driven = np.empty((*batch, len(self.drivers)))
        currents = np.empty((*batch, len(self.drivers)))
        for place, end in enumerate(ends):
            driven[..., place], currents[..., place] = end.settled(solved)
        return Solution(
            nodes=(*self.inner, *(driver.node for driver in self.drivers)),
            volts=np.concatenate([solved, driven], axis=-1),
            currents=currents,
        )

    def _end(self, driver: Driver, high: Flags, conductance: Floats) -> _End:
        """Return a driver as its node's resistors see it, in the states in which it is high or not."""
        links = [(conductance[..., resistor], inner) for resistor, inner in self._links(driver.node)]
        total = np.asarray(sum(g for g, _ in links))
        share = np.where(high, _share(total, driver.high_ohms), _share(total, driver.low_ohms))
        return _End(
            links=links,
            volts=share * np.where(high, driver.high_volts, driver.low_volts),
            ohms=np.where(high, _reach(total, driver.high_ohms), _reach(total, driver.low_ohms)),
        )

    def _equations(self, conductance: Floats, ends: Sequence[_End], batch: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Return the conductance matrix of the inner nodes and the currents fed into them, drivers eliminated."""
        count = len(self.inner)
        matrix = np.zeros((*batch, count, count))
        fed = np.zeros((*batch, count))
        for node, name in enumerate(self.inner):
            for resistor, other in self._links(name):
                matrix[..., node, node] += conductance[..., resistor]
                if other is not None:
                    matrix[..., node, other] -= conductance[..., resistor]
        for end in ends:
            for g, near in end.links:
                if near is None:
                    continue
                fed[..., near] += end.volts * g
                for far_g, far in end.links:
                    if far is not None:
                        matrix[..., near, far] -= end.ohms * g * far_g
        return matrix, fed


def _share(total: Floats, ohms: float) -> Floats:
    """Share of a driver's own voltage that reaches its node when the rest of the network is at 0 V."""
    return np.zeros_like(total) if isinf(ohms) else 1 / (1 + ohms * total)


def _reach(total: Floats, ohms: float) -> Floats:
    """Ohms from a driver's node to all fixed voltages, the inner nodes included."""
    return 1 / total if ohms == inf else ohms / (1 + ohms * total)
