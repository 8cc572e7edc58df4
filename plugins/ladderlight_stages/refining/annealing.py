"""Annealing: codes are changed and exchanged at random, first also for the worse, then only for the better."""

import numpy as np
from numpy.typing import NDArray

from ladderlight.colour.spaces import similarity_from_linear
from ladderlight.units.arrays import Singles
from ladderlight_stages.refining.annealing_loops import anneal
from ladderlight_stages.refining.visible_error import TO_XYZ, VisibleError

_MOVES = 32  # codes that each pixel may take, its own included
PLACES = np.array([(0, 0), (0, 1), (1, -1), (1, 0), (1, 1), (-1, -1), (-1, 0), (-1, 1)], dtype=np.int32)
_HOT, _COLD = 0.4, 0.05
"""Temperatures of the first and the last sweep, over the mean difference of the first choice. By experiment."""
FAR, _HOT_FAR = 30.0, 5.0
"""Pixels per degree from which the first is this, over the square root of the number of colours: few lie far apart."""
_SEED = 1
_QUANTILES = 4096


def annealed(
    error: VisibleError, chosen: NDArray[np.int32], sweeps: int, *, hot: float | None = None
) -> NDArray[np.int32]:
    """Anneal a choice of colours, int32 (height, width): the index of each pixel's colour.

    The same choice gives the same result. ``hot`` is the temperature of the first sweep, over the mean
    difference of the choice that is given; without it, that found by experiment.

    Notes
    -----
    S. Kirkpatrick, C. D. Gelatt and M. P. Vecchi, Optimization by simulated annealing, Science 220 (1983) 671-680, with
    the choices of the Gibbs sampler, S. Geman and D. Geman, IEEE Transactions on Pattern Analysis and Machine
    Intelligence 6 (1984) 721-741: each choice has the probability exp(-error / temperature), since the least of errors
    less Gumbel's noise is taken. The eye's blur reaches further than the loop follows it, so after each sweep what is
    seen goes half of the way to what is computed anew: with all of it, each sweep would correct the last one's drift of
    tones twice over.
    """
    settled = chosen.copy()
    if hot is None:
        hot = _HOT if max(error.density) < FAR else _HOT_FAR / np.sqrt(len(error.linear))
    moves = nearest_others(similarity_from_linear(error.linear), _MOVES)
    if moves.shape[1] == 1:
        return settled
    draw = np.random.PCG64(_SEED)
    gumbel = -np.log(-np.log((np.arange(_QUANTILES) + 0.5) / _QUANTILES)).astype(np.float32)
    changed = np.repeat(error.blur[..., None], moves.shape[1], axis=-1)
    exchanged, pull, seen = exchanges(error.blur), error.pull(settled), error.seen(settled)
    each = moves.shape[1] + len(PLACES)
    for warmth in error.mean(settled) * np.geomspace(hot, _COLD, sweeps):
        raw = draw.random_raw(-(-settled.size * each // 4)).view(np.uint16)[: settled.size * each]
        luck = np.float32(warmth) * gumbel[raw % _QUANTILES]
        anneal(
            settled,
            seen,
            error.wanted,
            error.colours,
            moves,
            changed,
            PLACES,
            exchanged,
            pull,
            error.weights,
            error.balanced,
            error.spread,
            TO_XYZ,
            luck.reshape(*settled.shape, each),
        )
        seen += (error.seen(settled) - seen) / 2
    return settled


def exchanges(blur: Singles) -> Singles:
    """Return what exchanges with each of ``PLACES`` add to what is seen: float32 (rows, columns, 3, places)."""
    wide = np.pad(blur, ((1, 1), (1, 1), (0, 0)))
    moved = [np.roll(wide, place, axis=(0, 1)) for place in PLACES]
    return np.stack([wide - other for other in moved], axis=-1)


def nearest_others(points: Singles, most: int) -> NDArray[np.int32]:
    """Return, for each point, at most so many that are nearest to it, itself first; int32 (points, moves)."""
    nearest = np.empty((len(points), min(most, len(points))), dtype=np.int32)
    for index, point in enumerate(points):
        gaps = ((points - point) ** 2).sum(axis=1)
        nearest[index] = np.argsort(gaps, kind="stable")[: nearest.shape[1]]
    return nearest
