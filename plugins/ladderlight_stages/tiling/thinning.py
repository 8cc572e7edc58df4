"""Fewer tiles: which to keep, so that replacing each of the others by the nearest kept one is seen least.

That is a weighted k-median. Tiles are taken out one after another, each time the one whose absence costs least
(the reverse greedy algorithm: M. Chrobak, C. Kenyon, N. Young, Information Processing Letters 97, 2006), then each
group chooses its middle anew until nothing improves. Very many tiles are first thinned in parts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ladderlight.units.arrays import Flags, Floats, Ints
from ladderlight_stages.compiled import compiled
from ladderlight_stages.tiling.similarity import Points, squared_distances

_AT_ONCE = 4096
"""Tiles that are compared each with each."""
_ROUNDS = 20


@dataclass(frozen=True, kw_only=True, eq=False)
class Thinned:
    """``kept`` are the indices of the tiles that stay.

    Tile ``i`` is shown as ``kept[stand_in[i]]`` in turn ``turn[i]``; ``loss[i]`` float64 is their squared distance.
    """

    kept: Ints
    stand_in: Ints
    turn: Ints
    loss: Floats


def thin(
    points: Callable[[int], Points],
    turns: int,
    uses: Ints,
    most: int,
    *,
    coarse: Callable[[int], Points] | None = None,
) -> Thinned:
    """Choose at most ``most`` of the tiles.

    Parameters
    ----------
    points
        Returns the tiles as points in an orientation, float32 (tiles, dimensions); 0 is the orientation that is kept.
        The distance of two tiles is the least over the orientations of one of them.
    turns
        How many orientations there are.
    uses
        How often each tile is shown, int64 (tiles,).
    most
        How many may stay, 1 or more.
    coarse
        Like ``points`` with fewer dimensions, for very many tiles.

    Notes
    -----
    Nothing depends on all tiles together, as principal directions would: a tile that is drawn anew then changes the
    choice among those that are similar, and hardly any other.
    """
    number = len(uses)
    clouds = [(coarse if coarse and number > _AT_ONCE else points)(turn) for turn in range(turns)]
    if number <= most:
        whole = np.arange(number)
        return Thinned(kept=whole, stand_in=whole, turn=np.zeros(number, dtype=np.int64), loss=np.zeros(number))
    kept, weights = _thin_in_parts(clouds, uses.astype(np.float64), most)
    if len(kept) > most:
        distances = _distances(clouds, kept)
        kept = kept[np.flatnonzero(_take_out(distances, weights, most))]
    if number <= _AT_ONCE:
        kept = _recentred(_distances(clouds, np.arange(number)), uses, kept)
    kept.sort()
    loss, stand_in, turn = _nearest(clouds, kept)
    own = np.arange(len(kept))
    stand_in[kept], turn[kept], loss[kept] = own, 0, 0.0
    return Thinned(kept=kept, stand_in=stand_in, turn=turn, loss=loss)


def _distances(clouds: list[Points], some: Ints) -> Points:
    """Return the least squared distances between some tiles, whichever is turned."""
    least = squared_distances(clouds[0][some], clouds[0][some])
    for cloud in clouds[1:]:
        np.minimum(least, squared_distances(clouds[0][some], cloud[some]), out=least)
    np.fill_diagonal(least, 0)
    return least


def _nearest(clouds: list[Points], kept: Ints) -> tuple[Floats, Ints, Ints]:
    """Return, for every tile, the least squared distance to a kept one, that tile, and its turn."""
    number = len(clouds[0])
    loss = np.full(number, np.inf)
    stand_in, turn = np.zeros(number, dtype=np.int64), np.zeros(number, dtype=np.int64)
    for start in range(0, number, _AT_ONCE):
        part = np.arange(start, min(start + _AT_ONCE, number))
        for index, cloud in enumerate(clouds):
            distances = squared_distances(clouds[0][part], cloud[kept])
            best = distances.argmin(axis=1)
            least = distances[np.arange(len(part)), best]
            nearer = least < loss[part]
            of = part[nearer]
            loss[of], stand_in[of], turn[of] = least[nearer], best[nearer], index
    return loss, stand_in, turn


def _thin_in_parts(clouds: list[Points], weights: Floats, most: int) -> tuple[Ints, Floats]:
    """Halve the tiles until few enough are left to compare each with each, in parts of similar tiles."""
    kept = np.arange(len(weights))
    while len(kept) > max(_AT_ONCE, most):
        brightness = sum(cloud[kept].sum(axis=1) for cloud in clouds)
        kept = kept[np.argsort(brightness, kind="stable")]
        goal = max(most, len(kept) // 2)
        edges = [*range(0, len(kept), _AT_ONCE), len(kept)]
        ends = [round(edge * goal / len(kept)) for edge in edges]
        stay = []
        for start, end, first, last in zip(edges, edges[1:], ends, ends[1:], strict=False):
            part = kept[start:end]
            distances = _distances(clouds, part)
            alive = _take_out(distances, weights[part], max(1, last - first))
            nearest = part[alive][distances[:, alive].argmin(axis=1)]
            moved = weights[part]
            weights[part] = 0
            np.add.at(weights, nearest, moved)
            stay.append(part[alive])
        kept = np.concatenate(stay)
    return kept, weights[kept]


def _recentred(distances: Points, uses: Ints, kept: Ints) -> Ints:
    """Move each group's kept tile to the member that costs least, until the groups stay as they are."""
    weights = uses.astype(np.float64)
    best = float((weights * distances[:, kept].min(axis=1)).sum())
    for _ in range(_ROUNDS):
        groups = distances[:, kept].argmin(axis=1)
        middles = []
        for group in range(len(kept)):
            members = np.flatnonzero(groups == group)
            costs = weights[members] @ distances[np.ix_(members, members)]
            middles.append(members[costs.argmin()] if members.size else kept[group])
        moved = np.array(middles)
        cost = float((weights * distances[:, moved].min(axis=1)).sum())
        if cost >= best:
            break
        kept, best = moved, cost
    return kept


@compiled
def _take_out(distances: Points, weights: Floats, most: int) -> Flags:
    """Take tiles out until ``most`` are left, each time the one that costs least; return which are left.

    Taking a tile out costs the sum of what it saves the tiles that it is nearest to. Only the tiles whose nearest or
    second nearest is gone are compared with all others again.
    """
    number = len(weights)
    alive, stale = np.ones(number, np.bool_), np.ones(number, np.bool_)
    nearest, second = np.zeros(number, np.int64), np.zeros(number, np.int64)
    cost = np.zeros(number, np.float64)
    for _ in range(number - most):
        for tile in range(number):
            if stale[tile]:
                nearest[tile], second[tile] = _two_nearest(distances[tile], alive, tile)
                cost[nearest[tile]] += _saved(distances[tile], weights[tile], nearest[tile], second[tile])
                stale[tile] = False
        gone = -1
        for tile in range(number):
            if alive[tile] and (gone < 0 or cost[tile] < cost[gone]):
                gone = tile
        alive[gone] = False
        for tile in range(number):
            if nearest[tile] == gone or second[tile] == gone:
                cost[nearest[tile]] -= _saved(distances[tile], weights[tile], nearest[tile], second[tile])
                stale[tile] = True
    return alive


@compiled
def _two_nearest(distances: Points, alive: Flags, tile: int) -> tuple[int, int]:
    """Return the two tiles left that are nearest to a tile, itself before all others; -1 in place of a second."""
    nearest, second = -1, -1
    for other in range(len(alive)):
        if not alive[other]:
            continue
        if nearest < 0 or distances[other] < distances[nearest] or other == tile:
            nearest, second = other, nearest
        elif second < 0 or distances[other] < distances[second]:
            second = other
    return nearest, second


@compiled
def _saved(distances: Points, weight: float, nearest: int, second: int) -> float:
    """Return what a tile loses when it is shown as the second nearest in place of the nearest."""
    if second < 0:
        return 0.0
    saved: float = weight * (distances[second] - distances[nearest])
    return saved
