"""The best R-2R ladders from given resistances: every pair of rail and rung."""

from dataclasses import dataclass

import numpy as np

from ladderlight.board.ladders.goal import Goal
from ladderlight.board.model.ladder import all_states
from ladderlight.units.arrays import Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class R2RFound:
    """Ladders found, best first, float64 (ladders,): ``rail`` and ``rung`` in ohms, ``error`` in the goal's measure."""

    rail: Floats
    rung: Floats
    error: Floats


def best_r2r(goal: Goal, values: Floats, most: int) -> R2RFound:
    """Return the ``most`` best R-2R ladders with one value for all rails and one for all rungs.

    A rung is two rails in series, as the name promises, or one of the values, which can make up for the drivers'
    resistance in series with the rungs. The termination is two rails in series. All combinations are tried; those that
    err by more than the goal's ``worst`` are left out.
    """
    found = R2RFound(rail=np.zeros(0), rung=np.zeros(0), error=np.zeros(0))
    codes = all_states(goal.bits).astype(np.float64)
    for rail in values.tolist():
        rung = np.append(values[values != 2 * rail], 2 * rail)
        weights, alone = _levels(goal, rail, rung)
        good = np.ones(len(rung), dtype=bool)
        if goal.current_limit is not None:
            good &= (alone <= goal.current_limit).all(axis=1)
        if len(found.error) == most:
            white = goal.effect(weights.sum(axis=1))
            good &= np.abs(white - goal.targets[-1]) <= found.error[-1]
        volts = weights[good] @ codes.T
        error = np.abs(goal.effect(volts) - goal.targets).max(axis=1)
        rung = rung[good]
        offered = error <= goal.worst
        if not goal.non_monotonic:
            offered &= (np.diff(volts, axis=1) > 0).all(axis=1)
        rung, error = rung[offered], error[offered]
        rails = np.append(found.rail, np.full(len(rung), rail))
        rungs, errors = np.append(found.rung, rung), np.append(found.error, error)
        order = np.lexsort((rungs, rails, errors))[:most]
        found = R2RFound(rail=rails[order], rung=rungs[order], error=errors[order])
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
