"""The goal of a ladder's design, and exact searches for the best weighted and R-2R ladders."""

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.ladder import all_states
from ladderlight.board.model.palette import linear_from_srgb, srgb_from_linear
from ladderlight.colour.spaces import lightness_of, luminance_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Floats, Ints

Even = Literal["volts", "perceptual"]

WORST = 0.25
"""Share of the whole range that a ladder's largest error may be; worse ladders are not offered."""
_CHUNK = 1 << 18  # numbers that are worked on at a time
_ROWS = 256  # ladders whose next bits are bounded at a time
_SLACK = 1 + 1e-9
_WIDE = 4e-3  # share of the range up to which it widens in large steps
_ROUNDING = 1e-13
_NARROW = 4e-9  # share of the whole range from which the search starts to widen


class Goal(Frozen):
    """The goal for a channel's ladder. Volts, ohms, amperes.

    ``even`` is the measure in which the steps from 0 to the peak are to be equal: volts, or lightness (CIE L* of the
    light that an sRGB monitor makes of the voltage). ``driver`` is the drivers' output resistance, ``current_limit``
    the most that one driver may source.
    """

    bits: int
    supply: float = 5.0
    load: float = 75.0
    peak: float = 0.7
    driver: float = 0.0
    even: Even = "volts"
    current_limit: float | None = None
    non_monotonic: bool = False

    @property
    def top(self) -> int:
        """The highest code."""
        return (1 << self.bits) - 1

    @cached_property
    def targets(self) -> Floats:
        """The target of each code, in volts or in L*."""
        full = self.peak if self.even == "volts" else 100.0
        return full * np.arange(self.top + 1) / self.top

    @property
    def worst(self) -> float:
        """The largest error, in the goal's measure, of a ladder that is offered."""
        return WORST * float(self.targets[-1])

    def effect(self, volts: Floats) -> Floats:
        """Return volts in the measure of ``even``: themselves, or the lightness of the light."""
        return volts if self.even == "volts" else lightness_of(linear_from_srgb(volts / self.peak))

    def error(self, volts: Floats) -> Floats:
        """Return the largest deviation of levels, float64 (..., codes), from the targets."""
        deviation: Floats = np.abs(self.effect(volts) - self.targets).max(axis=-1)
        return deviation

    def volts_for(self, effect: Floats) -> Floats:
        """Return the inverse of :meth:`effect`."""
        return effect if self.even == "volts" else self.peak * srgb_from_linear(luminance_of(effect))


class Found(Frozen, eq=False):
    """Ladders found, best first: ``index`` int64 (ladders, bits) into the values, least significant first; ``error``
    float64 (ladders,), the worst deviation from even steps in the goal's measure.
    """

    index: Ints
    error: Floats

    def __len__(self) -> int:
        return len(self.error)


@dataclass(kw_only=True)
class WeightedSearch:
    """Branch and bound over weighted ladders; see :meth:`best`.

    ``values`` float64, ascending: the resistances to choose from, in ohms. Where there are not as many of each as are
    needed, ``uses`` int64 (values, kinds) is how many resistors of each kind a value takes, and ``held`` int64 (kinds,)
    how many there are.
    """

    goal: Goal
    values: Floats
    most: int
    uses: Ints | None = None
    held: Ints | None = None
    _bound: float = field(init=False, default=0.0)
    _found: Found = field(init=False)

    def best(self) -> Found:
        """Return the ``most`` best ladders: no other choice of the values has a smaller worst error.

        There are fewer when others would err by more than the goal's ``worst``.

        With the conductances g (drivers included), D their sum and the load's, a code's voltage is V S / D with S the
        sum of its bits' g (Millman). To err by at most E, every code must lie within a window of voltages. Bits are
        chosen from the most significant down. The windows of all codes of the bits chosen so far, with the other bits
        all low or all high, bound D, and D with the windows of one bit more bounds that bit's resistor. E is widened
        from next to nothing until enough ladders are found, and narrowed to the worst of the best as soon as there are.
        Only ladders that err by more than E, or that break a condition of the goal, are ever left out.
        """
        worst = self.goal.worst
        self._bound = worst * _NARROW
        while True:
            bound = self._bound
            self._found = Found(index=np.zeros((0, self.goal.bits), dtype=np.int64), error=np.zeros(0))
            self._descend(np.zeros((1, 0), dtype=np.int64), np.zeros((1, 1)))
            if len(self._found) >= self.most or bound >= worst:
                return self._found
            self._bound = min(bound * (2.0 if bound < worst * _WIDE else 1.3), worst)

    def _descend(self, index: Ints, sums: Floats) -> None:
        """Complete ladders whose most significant bits are chosen; ``sums`` are the conductances of their codes."""
        bit = self.goal.bits - index.shape[1]
        if bit == 0:
            self._collect(index, sums)
            return
        for start in range(0, len(index), _ROWS):  # bounds are computed late: the search may have narrowed since
            self._expand(index[start : start + _ROWS], sums[start : start + _ROWS], bit)

    def _expand(self, index: Ints, sums: Floats, left: int) -> None:
        low, high = self._bounds(sums, left)
        ascending = self._conductance[::-1]
        first = np.searchsorted(ascending, low * (2 - _SLACK), side="left")
        counts = np.maximum(np.searchsorted(ascending, high * _SLACK, side="right") - first, 0)
        for rows in _chunks(counts * 2 * sums.shape[1]):
            repeat = counts[rows]
            if not repeat.any():
                continue
            step = np.arange(repeat.sum()) - np.repeat(np.cumsum(repeat) - repeat, repeat)
            own = len(ascending) - 1 - (np.repeat(first[rows], repeat) + step)
            before = np.repeat(sums[rows], repeat, axis=0)
            # Codes count in the chosen bits; the new one becomes their lowest.
            both = np.stack([before, before + self._conductance[own][:, None]], axis=2).reshape(len(before), -1)
            chosen = np.column_stack([own, np.repeat(index[rows], repeat, axis=0)])
            promising = self._promising(both, left - 1)
            self._descend(chosen[promising], both[promising])

    def _promising(self, sums: Floats, left: int) -> NDArray[np.intp]:
        """Order ladders by the error of their codes if white comes out right: good ones narrow the search soonest."""
        goal = self.goal
        total = goal.supply / goal.load / (goal.supply - goal.peak)
        codes = np.arange(sums.shape[1]) << left
        off = np.abs(goal.effect(goal.supply * sums / total) - goal.targets[codes]).max(axis=1)
        return np.argsort(off, kind="stable")

    @cached_property
    def _conductance(self) -> Floats:
        return 1 / (self.values + self.goal.driver)

    def _limits(self) -> tuple[Floats, Floats]:
        goal, bound = self.goal, self._bound * _SLACK + _ROUNDING
        return goal.volts_for(goal.targets - bound), goal.volts_for(goal.targets + bound)

    def _bounds(self, sums: Floats, left: int) -> tuple[Floats, Floats]:
        """Bounds of the next of ``left`` bits' conductance; the upper is below the lower where none is possible."""
        low, high = self._limits()
        supply = self.goal.supply
        codes = np.arange(sums.shape[1]) << left
        known = 1 / self.goal.load + sums[:, -1]
        smallest, largest = self._totals(sums, known, left)
        room = self._room(sums)
        lower = np.full((left, len(sums)), self._conductance[-1])
        upper = np.repeat(np.minimum(room, self._conductance[0])[None], left, axis=0)
        for _ in range(2):  # the second time with the closer bounds of D from the first
            for bit in range(left):
                with_bit = codes | (1 << bit)
                least = np.maximum(low[with_bit], 0.0) * smallest[:, None] / supply - sums
                most = high[with_bit] * largest[:, None] / supply - sums
                lower[bit] = np.maximum(lower[bit], least.max(axis=1))
                upper[bit] = np.minimum(upper[bit], np.minimum(most.min(axis=1), self._most_conductance(bit, smallest)))
            smallest = np.maximum(smallest, known + lower.sum(axis=0))
            largest = np.minimum(largest, known + np.minimum(upper.sum(axis=0), room))
            others_lower, others_upper = lower.sum(axis=0) - lower, upper.sum(axis=0) - upper
            lower = np.maximum(lower, smallest - known - others_upper)
            upper = np.minimum(upper, np.minimum(largest - known, room) - others_lower)
        possible = (lower <= upper * _SLACK).all(axis=0) & (smallest <= largest * _SLACK)
        for place in range(sums.shape[1].bit_length() - 1):
            possible &= sums[:, 1 << place] <= self._most_conductance(left + place, smallest)
        return lower[-1], np.where(possible, upper[-1], 0.0)

    def _totals(self, sums: Floats, known: Floats, left: int) -> tuple[Floats, Floats]:
        """Bounds of D from the codes of chosen bits, the others all low or high: v = V - V (1/R_L + missing) / D."""
        low, high = self._limits()
        supply = self.goal.supply
        codes = np.arange(sums.shape[1]) << left
        raised = codes | ((1 << left) - 1)
        missing = known[:, None] - sums
        smallest = (supply * sums / high[codes]).max(axis=1)
        smallest = np.maximum(smallest, (supply * missing / (supply - np.minimum(low[raised], supply))).max(axis=1))
        positive, below = low[codes] > 0, high[raised] < supply
        largest = (supply * sums[:, positive] / low[codes][positive]).min(axis=1, initial=np.inf)
        ends = supply * missing[:, below] / (supply - high[raised][below])
        largest = np.minimum(largest, ends.min(axis=1, initial=np.inf))
        return np.maximum(smallest, known), largest

    def _room(self, sums: Floats) -> Floats:
        """Conductance that the bits still to be chosen may have together, for each chosen bit to outweigh all below."""
        single = 1 << np.arange(sums.shape[1].bit_length() - 1)
        if self.goal.non_monotonic or not len(single):
            return np.full(len(sums), np.inf)
        room: Floats = (sums[:, single] - sums[:, single - 1]).min(axis=1)
        return room

    def _most_conductance(self, bit: int, total: Floats) -> Floats:
        """Largest conductance that a bit may have, from the current of a driver that is high alone.

        That is (V - V g / D) g, which is within the limit L for small g, and for large g at a level V g / D of at least
        V / 2 (1 + sqrt(1 - 4 L / V / D)). Where the bit's window rules the latter out, the former is a bound; it is the
        wider the smaller D, and D is at least ``total``.
        """
        goal = self.goal
        if goal.current_limit is None:
            return np.full(len(total), np.inf)
        share = 1 - 4 * goal.current_limit / (goal.supply * total)
        root = np.sqrt(np.maximum(share, 0.0))
        bounded = (share > 0) & (self._limits()[1][1 << bit] < goal.supply / 2 * (1 + root))
        return np.where(bounded, total / 2 * (1 - root) * _SLACK, np.inf)

    def _collect(self, index: Ints, sums: Floats) -> None:
        goal = self.goal
        volts = goal.supply * sums / (sums[:, -1:] + 1 / goal.load)
        error = goal.error(volts)
        good = error <= self._bound
        if not goal.non_monotonic:
            good &= (np.diff(volts, axis=1) > 0).all(axis=1)
        if goal.current_limit is not None:
            single = volts[:, 1 << np.arange(goal.bits)]
            good &= ((goal.supply - single) * self._conductance[index] <= goal.current_limit).all(axis=1)
        if self.uses is not None:
            good[good] = (self.uses[index[good]].sum(axis=1) <= self.held).all(axis=1)
        index = np.concatenate([self._found.index, index[good]])
        error = np.concatenate([self._found.error, error[good]])
        order = np.lexsort((*index.T, error))[: self.most]  # of equal errors the smaller resistors first
        self._found = Found(index=index[order], error=error[order])
        if len(self._found) == self.most:
            self._bound = min(self._bound, float(self._found.error[-1]))


def _chunks(sizes: Ints) -> list[slice]:
    """Cut rows into runs of at most a chunk's size together, and at least one row."""
    chunk = np.cumsum(sizes) // _CHUNK
    starts = [0, *(np.flatnonzero(np.diff(chunk)) + 1).tolist(), len(sizes)]
    return [slice(start, stop) for start, stop in pairwise(starts) if stop > start]


def best_r2r(goal: Goal, values: Floats, most: int) -> list[tuple[float, float, float]]:
    """Return the ``most`` best R-2R ladders with one value for all rails and one for all rungs, best first.

    Each is its error, in the goal's measure, its rail and its rung, in ohms.
    A rung is two rails in series, as the name promises, or one of the values, which can make up for the drivers'
    resistance in series with the rungs. The termination is two rails in series. All combinations are tried; those that
    err by more than the goal's ``worst`` are left out.
    """
    found: list[tuple[float, float, float]] = []
    codes = all_states(goal.bits).astype(np.float64)
    for rail in values.tolist():
        rung = np.append(values[values != 2 * rail], 2 * rail)
        weights, alone = _levels(goal, rail, rung)
        good = np.ones(len(rung), dtype=bool)
        if goal.current_limit is not None:
            good &= (alone <= goal.current_limit).all(axis=1)
        if len(found) == most:
            white = goal.effect(weights.sum(axis=1))
            good &= np.abs(white - goal.targets[-1]) <= found[-1][0]
        volts = weights[good] @ codes.T
        error = goal.error(volts)
        rung = rung[good]
        offered = error <= goal.worst
        if not goal.non_monotonic:
            offered &= (np.diff(volts, axis=1) > 0).all(axis=1)
        more = ((off, rail, ohms) for off, ohms in zip(error[offered].tolist(), rung[offered].tolist(), strict=True))
        found = sorted([*found, *more])[:most]
    return found


def _levels(goal: Goal, rail: float, rung: Floats) -> tuple[Floats, Floats]:
    """Volts at the output from each bit alone, and the current of its driver then, float64 (rungs, bits) each.

    Each step is reduced to a source and a resistance (Thevenin). A driver sources most when all others are low.
    """
    leg = rung + goal.driver
    before = np.full(len(rung), 2 * rail)  # what each node sees towards the termination
    shares: list[Floats] = []
    towards_start = []
    for bit in range(goal.bits):
        towards_start.append(before)
        shares = [share * leg / (leg + before) for share in shares] + [before / (leg + before)]
        before = before * leg / (leg + before) + (rail if bit < goal.bits - 1 else 0.0)
    after = np.full(len(rung), goal.load)  # and towards the monitor
    currents: list[Floats] = []
    for node in reversed(towards_start):
        seen = node * after / (node + after)
        currents.insert(0, goal.supply / (leg + seen))
        after = rail + leg * after / (leg + after)
    volts = goal.supply * np.stack(shares, axis=1) * (goal.load / (goal.load + before))[:, None]
    return volts, np.stack(currents, axis=1)
