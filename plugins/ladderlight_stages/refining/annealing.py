"""Annealing: codes are changed and exchanged at random, first also for the worse, then only for the better."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ladderlight.colour.oklab import similarity_from_linear
from ladderlight.units.arrays import Singles
from ladderlight_stages.refining.annealing_loops import anneal
from ladderlight_stages.refining.visible_error import ROOTS, TO_XYZ, VisibleError

_MOVES = 17
_TRIES = 4
"""Changes that are tried at each pixel in a sweep."""
_HOT, _COLD = 1.0, 0.02
"""Mean rise of the error, in units of the difference at one pixel, that is accepted in the first and last sweep."""
_SEED = 1


def annealed(
    error: VisibleError, chosen: NDArray[np.int32], sweeps: int, *, hot: float = _HOT, cold: float = _COLD
) -> NDArray[np.int32]:
    """Anneal a choice of colours, int32 (height, width): the index of each pixel's colour.

    The same choice gives the same result. ``hot`` and ``cold`` are the rise of the error that is accepted, on average,
    in the first and the last sweep.

    Notes
    -----
    S. Kirkpatrick, C. D. Gelatt and M. P. Vecchi, Optimization by simulated annealing, Science 220 (1983) 671-680. The
    eye's blur reaches further than the loop follows it, so what is seen is computed again before each sweep.
    """
    settled = chosen.copy()
    moves = nearest_others(similarity_from_linear(error.linear), _MOVES)
    if moves.shape[1] == 1:
        return settled
    draw = np.random.PCG64(_SEED)
    pull = error.pull(settled)
    for sweep in range(sweeps):
        warmth = hot * (cold / hot) ** (sweep / max(sweeps - 1, 1))
        raw = draw.random_raw(settled.size * _TRIES).reshape(*settled.shape, _TRIES)
        limits = (-warmth * np.log(((raw >> 40) + 1) / 2**24)).astype(np.float32)
        seen, costs = error.seen(settled)
        anneal(
            settled,
            seen,
            costs,
            error.wanted,
            error.colours,
            moves,
            error.blur,
            pull,
            error.weights,
            error.balanced,
            error.spread,
            TO_XYZ,
            ROOTS,
            (raw & 0xFFFF).astype(np.uint16),
            limits,
        )
    return settled


def nearest_others(points: Singles, most: int) -> NDArray[np.int32]:
    """Return, for each point, at most so many that are nearest to it, itself first; int32 (points, moves)."""
    nearest = np.empty((len(points), min(most, len(points))), dtype=np.int32)
    for index, point in enumerate(points):
        gaps = ((points - point) ** 2).sum(axis=1)
        nearest[index] = np.argsort(gaps, kind="stable")[: nearest.shape[1]]
    return nearest
