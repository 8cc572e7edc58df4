"""Fewer tiles: which to keep, so that replacing each of the others by the nearest kept one is seen least.

Pixels are compared in OKLab twice: as they are, and as the eye sees them from where single pixels merge, blurred in
linear light. Two dithered patches of the same tone are then similar although hardly a pixel is the same.

The choice is a weighted k-median. Tiles are taken out one after another, each time the one whose absence costs least
(the reverse greedy algorithm: M. Chrobak, C. Kenyon, N. Young, Information Processing Letters 97, 2006), then each
group chooses its middle anew until nothing improves. Very many tiles are first thinned in parts.
"""

import numpy as np

from ladderlight import Frozen
from ladderlight.board import Palette
from ladderlight.colour.spaces import oklab_from_linear
from ladderlight.units.arrays import Codes, Flags, Floats, Ints, Singles
from ladderlight_stages.compiled import compiled

Points = Singles

BLUR = 1.0
"""Standard deviation of the blur in picture pixels; a choice, no standard."""
SHARP_SHARE = 0.3
"""Weight of the unblurred difference, the rest goes to the blurred one; a choice, no standard."""
FINE = 4096
"""Tiles that are compared each with each in full."""
_AT_ONCE = 1 << 15  # tiles that are thinned together
_LISTED = 8  # the nearest tiles that a tile remembers, so that it is seldom compared with all again
_PARTS = 4
_ROUNDS = 20


def tile_points(codes: Codes, palette: Palette, shape: tuple[int, int, int]) -> Points:
    """Return each tile of some codes, (tiles, positions), as a point: float32 (tiles, 6 x positions).

    ``shape`` is frames, lines and pixels of a tile; positions are in that order, pixels changing fastest. The squared
    distance of two points is the mean over the pixels of the squared OKLab difference, sharp and blurred as weighted
    above.
    """
    light = palette.linear.astype(np.float32)[codes].reshape(-1, *shape, 3)
    frames, lines, pixels = shape
    blurred = np.einsum("yv,nfvxc->nfyxc", _blur(lines), light, optimize=True)
    blurred = np.einsum("xu,nfyuc->nfyxc", _blur(pixels), blurred, optimize=True)
    sharp = np.sqrt(SHARP_SHARE) * oklab_from_linear(light)
    soft = np.sqrt(1 - SHARP_SHARE) * oklab_from_linear(np.maximum(blurred, 0))
    points = np.concatenate([sharp.reshape(len(codes), -1), soft.reshape(len(codes), -1)], axis=1)
    return np.asarray(points / np.sqrt(frames * lines * pixels), dtype=np.float32)


def coarse_points(codes: Codes, palette: Palette, shape: tuple[int, int, int]) -> Points:
    """Return each tile as a point of a quarter of the pixels: the mean of every two by two, in linear light, as OKLab.

    Takes what :func:`tile_points` takes; what is smaller than two pixels is not reduced.
    """
    light = palette.linear.astype(np.float32)[codes].reshape(-1, *shape, 3)
    for axis in (2, 3):
        if light.shape[axis] > 1:
            first, second = np.split(light.reshape(*light.shape[:axis], -1, 2, *light.shape[axis + 1 :]), 2, axis + 1)
            light = np.asarray((first + second).squeeze(axis + 1) / 2, dtype=np.float32)
    colours = oklab_from_linear(light).reshape(len(codes), -1)
    return np.asarray(colours / np.sqrt(colours.shape[1] / 3), dtype=np.float32)


def squared_distances(one: Points, other: Points) -> Points:
    """Return the squared distances between all points of two sets, float32 (one, other)."""
    square: Points = one @ (-2 * other.T)
    square += (one**2).sum(axis=1)[:, None]
    square += (other**2).sum(axis=1)[None, :]
    return np.maximum(square, 0, out=square)


def _blur(size: int) -> Points:
    """Return the matrix of a Gaussian blur over so many pixels, mirrored at both ends."""
    reach = int(np.ceil(3 * BLUR))
    steps = np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 * (steps / BLUR) ** 2)
    weights /= weights.sum()
    matrix = np.zeros((size, size), dtype=np.float32)
    for at in range(size):
        for step, weight in zip(steps, weights, strict=True):
            there = (at + step) % (2 * size)
            matrix[at, there if there < size else 2 * size - 1 - there] += weight
    return matrix


class Thinned(Frozen, eq=False):
    """``kept`` are the indices of the tiles that stay.

    Tile ``i`` is shown as ``kept[stand_in[i]]`` in turn ``turn[i]``; ``loss[i]`` float64 is their squared distance.
    """

    kept: Ints
    stand_in: Ints
    turn: Ints
    loss: Floats


def thin(clouds: Points, uses: Ints, most: int, *, channels: int = 1) -> Thinned:
    """Choose at most ``most`` of the tiles.

    Nothing depends on all tiles together, as principal directions would: a tile that is drawn anew then changes the
    choice among those that are similar, and hardly any other.

    Parameters
    ----------
    clouds
        The tiles as points in each orientation, float32 (orientations, tiles, dimensions); the first is that which is
        kept, and each undoes itself. The distance of two tiles is the least over the orientations of one of them.
    uses
        How often each tile is shown, int64 (tiles,).
    channels
        How many coordinates of a point belong together: orientations differ in the order of such groups only.
    """
    number = len(uses)
    if number <= most:
        whole = np.arange(number)
        return Thinned(kept=whole, stand_in=whole, turn=np.zeros(number, dtype=np.int64), loss=np.zeros(number))
    clouds, bounds, order = _sorted_by_mean(clouds, channels)
    weights = uses[order].astype(np.float64)
    kept = _kept_of(clouds, bounds, weights, most)
    if number <= FINE:
        kept = _recentred(_distances(clouds), weights, kept)
    alive = np.zeros(number, dtype=np.bool_)
    alive[kept] = True
    stand_in, turn, loss = nearest_kept(clouds, bounds, alive)
    # back into the order that was given
    kept = np.sort(order[kept])
    back = np.empty(number, dtype=np.int64)
    back[order] = np.arange(number)
    stand_in, turn = np.searchsorted(kept, order[stand_in[back]]), turn[back]
    return Thinned(kept=kept, stand_in=stand_in, turn=turn, loss=loss[back].astype(np.float64))


def _sorted_by_mean(clouds: Points, channels: int) -> tuple[Points, Points, Ints]:
    """Return the points in the order of their first channel's mean, bounds of their distances, and that order.

    Sorted by value, a channel is the same in all orientations, and two points are never nearer to each other than their
    sorted channels (the rearrangement inequality). A bound has that mean, and of each sorted channel the means of four
    parts and the norm of what is left without these, all scaled so that this holds for the bounds, too.
    """
    number, dimensions = map(int, clouds.shape[1:])
    values: Floats = np.sort(clouds[0].reshape(number, -1, channels).swapaxes(1, 2).astype(np.float64), axis=2)
    size = dimensions // channels
    parts = values.reshape(number, channels, -1, size // _PARTS if size % _PARTS == 0 else size)
    means: Floats = parts.mean(axis=3)
    rest = np.sqrt(((parts - means[..., None]) ** 2).sum(axis=(2, 3)))
    first: Floats = values[:, 0].mean(axis=1) * np.sqrt(size)
    bounds = np.column_stack([first, means.reshape(number, -1) * np.sqrt(parts.shape[3]), rest])
    order = np.argsort(first, kind="stable")
    return np.ascontiguousarray(clouds[:, order]), np.ascontiguousarray(bounds[order], dtype=np.float32), order


def _kept_of(clouds: Points, bounds: Points, weights: Floats, most: int) -> Ints:
    """Return which tiles stay. Very many are first halved in parts of similar tiles, until few enough are left."""
    kept = np.arange(len(weights))
    while len(kept) > most:
        together = len(kept) <= _AT_ONCE
        goal = most if together else max(most, len(kept) // 2)
        edges = [0, len(kept)] if together else [*range(0, len(kept), _AT_ONCE), len(kept)]
        ends = [round(edge * goal / len(kept)) for edge in edges]
        stay = []
        for start, end, first, last in zip(edges, edges[1:], ends, ends[1:], strict=False):
            part = kept[start:end]
            points, limits = np.ascontiguousarray(clouds[:, part]), bounds[part]
            alive = take_out(points, limits, weights[part], max(1, last - first))
            moved = np.bincount(nearest_kept(points, limits, alive)[0], weights[part], len(part))
            weights = weights.copy()
            weights[part] = moved
            stay.append(part[alive])
        kept = np.concatenate(stay)
    return kept


def _distances(clouds: Points) -> Points:
    """Return the least squared distances between all tiles, whichever is turned."""
    least = squared_distances(clouds[0], clouds[0])
    for cloud in clouds[1:]:
        np.minimum(least, squared_distances(clouds[0], cloud), out=least)
    np.fill_diagonal(least, 0)
    return least


def _recentred(distances: Points, weights: Floats, kept: Ints) -> Ints:
    """Move each group's kept tile to the member that costs least, until the groups stay as they are."""
    best = float((weights * distances[:, kept].min(axis=1)).sum())
    for _ in range(_ROUNDS):
        groups = distances[:, kept].argmin(axis=1)
        middles = []
        for group in range(len(kept)):
            members = np.flatnonzero(groups == group)
            costs: Floats = weights[members] @ distances[np.ix_(members, members)]
            middles.append(int(members[costs.argmin()] if members.size else kept[group]))
        moved: Ints = np.array(middles)
        cost = float((weights * distances[:, moved].min(axis=1)).sum())
        if cost >= best:
            break
        kept, best = moved, cost
    return kept


@compiled
def take_out(clouds: Points, bounds: Points, weights: Floats, most: int) -> Flags:
    """Take tiles out until ``most`` are left, each time the one that costs least; return which are left.

    Taking a tile out costs the sum of what it saves the tiles that it is nearest to. Only the tiles whose nearest or
    second nearest is gone are compared with others again. ``clouds`` and ``bounds`` are as from ``_sorted_by_mean``,
    of shapes (orientations, tiles, dimensions) and (tiles, bounds).
    """
    number = len(weights)
    alive = np.ones(number, np.bool_)
    before, after = np.arange(-1, number - 1), np.arange(1, number + 1)
    near, far = np.full((number, _LISTED), -1, np.int64), np.empty((number, _LISTED), np.float32)
    turns = np.empty((number, _LISTED), np.int64)
    nearest, second = np.full(number, -1, np.int32), np.full(number, -1, np.int32)
    saved, cost = np.zeros(number, np.float64), np.zeros(number, np.float64)
    stale, count = np.arange(number), number
    for _ in range(number - most):
        for at in range(count):
            tile: int = stale[at]
            listed: Ints = near[tile]
            away: Singles = far[tile]
            one, two = _two_left(listed, alive)
            if two < 0:
                _list_nearest(clouds, bounds, alive, before, after, tile, listed, away, turns[tile])
                one, two = _two_left(listed, alive)
            nearest[tile], second[tile] = listed[one], listed[two] if two >= 0 else -1
            saved[tile] = weights[tile] * (away[two] - away[one]) if two >= 0 else 0.0
            cost[nearest[tile]] += saved[tile]
        gone = np.argmin(cost)
        alive[gone] = False
        down: int = before[gone]
        up: int = after[gone]
        if down >= 0:
            after[down] = up
        if up < number:
            before[up] = down
        count = 0
        for tile in range(number):
            if (nearest[tile] == gone) | (second[tile] == gone):
                cost[nearest[tile]] -= saved[tile]
                stale[count] = tile
                count += 1
        cost[gone] = np.inf
    return alive


@compiled
def _two_left(near: Ints, alive: Flags) -> tuple[int, int]:
    """Return the places of the first two tiles of a list that are left, -1 for those there are not."""
    one = -1
    for place in range(len(near)):
        if near[place] >= 0 and alive[near[place]]:
            if one >= 0:
                return one, place
            one = place
    return one, -1


@compiled
def nearest_kept(clouds: Points, bounds: Points, alive: Flags) -> tuple[Ints, Ints, Singles]:
    """Return, for every tile, the nearest of those left, its turn, and the squared distance."""
    number = len(alive)
    before, after = np.empty(number, np.int64), np.empty(number, np.int64)
    last, following = -1, number
    for tile in range(number):
        before[tile] = last
        last = tile if alive[tile] else last
        after[number - 1 - tile] = following
        following = number - 1 - tile if alive[number - 1 - tile] else following
    near, turns = np.empty((number, 1), np.int64), np.empty((number, 1), np.int64)
    far = np.empty((number, 1), np.float32)
    for tile in range(number):
        _list_nearest(clouds, bounds, alive, before, after, tile, near[tile], far[tile], turns[tile])
    return near[:, 0].copy(), turns[:, 0].copy(), far[:, 0].copy()


@compiled
def _list_nearest(
    clouds: Points,
    bounds: Points,
    alive: Flags,
    before: Ints,
    after: Ints,
    tile: int,
    near: Ints,
    far: Singles,
    turns: Ints,
) -> None:
    """List the tiles left that are nearest to a tile, itself before all others, -1 in place of those there are not.

    ``far`` are their squared distances, ``turns`` their turns. From the tile outwards, ``before`` and ``after`` lead
    from each tile to the next one left. Those that are too far away by their bounds alone are not compared.
    """
    number, last = len(alive), len(near) - 1
    near[:], far[:], turns[:] = -1, np.inf, 0
    if alive[tile]:
        near[0], far[0] = tile, 0
    down: int = before[tile]
    up: int = after[tile]
    while down >= 0 and not alive[down]:
        down = before[down]
    while up < number and not alive[up]:
        up = after[up]
    before[tile], after[tile] = down, up
    here: np.float32 = bounds[tile, 0]
    while down >= 0 or up < number:
        if up >= number or (down >= 0 and here - bounds[down, 0] <= bounds[up, 0] - here):
            at, down = down, before[down]
        else:
            at, up = up, after[up]
        gap: np.float32 = bounds[at, 0] - here
        if gap * gap > far[last]:
            break
        gap, k = np.float32(0), 1
        while k < bounds.shape[1] and gap <= far[last]:
            step: np.float32 = bounds[at, k] - bounds[tile, k]
            gap += step * step
            k += 1
        if gap > far[last]:
            continue
        distance, turn = _distance(clouds, tile, at, far[last])
        place = last
        if distance < far[last]:
            first = 1 if near[0] == tile else 0
            while place > first and distance < far[place - 1]:
                near[place], far[place], turns[place] = near[place - 1], far[place - 1], turns[place - 1]
                place -= 1
            near[place], far[place], turns[place] = at, distance, turn


@compiled
def _distance(clouds: Points, tile: int, other: int, most: float) -> tuple[np.float32, int]:
    """Return the least squared distance over the orientations of one of two tiles, and that turn; ``most`` if more."""
    dimensions = clouds.shape[2]
    least, turn = np.float32(most), 0
    two = clouds[0, other]
    for turned in range(len(clouds)):
        one = clouds[turned, tile]  # the others are many: in one orientation they fit the cache
        total, k = np.float32(0), 0
        while k + 4 <= dimensions and total < least:
            a, b, c, d = one[k] - two[k], one[k + 1] - two[k + 1], one[k + 2] - two[k + 2], one[k + 3] - two[k + 3]
            total += (a * a + b * b) + (c * c + d * d)
            k += 4
        if total < least:
            for rest in range(k, dimensions):
                total += (one[rest] - two[rest]) ** 2
            if total < least:
                least, turn = total, turned
    return least, turn
