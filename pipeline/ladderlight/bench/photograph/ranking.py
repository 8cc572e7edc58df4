"""The looks of faults ranked by how well they fit a photograph."""

from collections.abc import Sequence

import numpy as np

from ladderlight.bench.faults.listing import WiringFault
from ladderlight.bench.faults.screens import Look
from ladderlight.bench.photograph.camera import Answer, answer_to
from ladderlight.bench.photograph.fitting import NOISE, alike, blurred, fit, prepared
from ladderlight.bench.photograph.raster import RISES, Corners, aligned, find_raster, rectified
from ladderlight.storage.stopping import side_by_side
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Floats, Ints, Singles

_BLURS = (0.3, 0.6, 1.0)
_FIRST_BLUR = 1.5
_COARSE = 2  # cells across and down that are one in the first comparison of all looks
_NEAR = 96  # looks that are compared cell by cell: the best of the first comparison
_FINE_LEVELS = ((1.2, 2), (0.6, 2))
_ROUNDS = 3
_SHORTLIST = 24
_EVIDENCE = 70
"""Cells' worth of independent evidence in a photograph: what a fit leaves is shared by neighbours more than noise.

Chosen on 34 simulated photographs such that the mean confidence was the share that were named rightly.
"""
_CAST = 0.15
"""By how much the gain of a channel is commonly off the mean of all, a share: the white balance of cameras.

A missing resistor differs from its line stuck low in little else than the brightness of the gun.
"""
_SOUND = 4  # how much likelier no fault is beforehand than any one of hundreds: a subtle one must fit clearly better
FITTING = 0.5
"""Share of a photograph's variance that a picture which fits explains at least."""
DARK = 0.5
"""Confidence that a screen is dark of which nothing is to be seen: it may be missing from the photograph."""
_BLACK, _DIM = 1e-3, 0.25
"""Light of a screen that is dark, and value of a photograph of a dark room."""
SURE = 0.8
"""Confidence from which on the best fault is named alone."""


class Candidate(Frozen, eq=False):
    """A look that may be on the photograph, with all that are :func:`alike`; ``sound`` where one is without a fault.

    ``faults`` are all that lead to one of them, its own first, but for those that cannot be seen. ``score`` is how much
    of the photograph's variance, the camera's noise included, it explains, at most 1; ``confidence`` 0 to 1, over all
    looks; ``predicted`` the photograph that it would give, like ``seen`` of the ranking.
    """

    faults: tuple[WiringFault, ...]
    sound: bool
    score: float
    confidence: float
    predicted: Singles


class Ranking(Frozen, eq=False):
    """The likeliest looks, best first, the corners of the raster, and the photograph seen straight, cell by cell.

    There are no corners where the photograph shows no bright screen: then the screen may be dark.
    """

    candidates: tuple[Candidate, ...]
    corners: Corners | None
    seen: Singles

    @property
    def fits(self) -> bool:
        """Whether the best look is on the photograph at all."""
        return self.candidates[0].score >= FITTING

    @property
    def equal(self) -> tuple[Candidate, ...]:
        """The looks that fit about as well as the best: itself alone where it is sure."""
        best = self.candidates[0].confidence
        return tuple(c for c in self.candidates if c.confidence >= best / 10) if best < SURE else self.candidates[:1]


def ranked(pixels: Singles, looks: Sequence[Look], corners: Corners | None = None, most: int = 10) -> Ranking | None:
    """Rank looks by a photograph, as encoded: float32, shape (height, width, 3), 0 to 1.

    The first of the looks is that without a fault; those that are not steady are passed over. ``corners`` are those of
    the raster in pixels, from top left clockwise, None to find them; ``most`` is how many candidates to give. None
    where no raster is found, and no look is dark.
    """
    looks = [look for look in looks if look.steady]
    starts = [find_raster(pixels, rise) for rise in RISES] if corners is None else [corners]
    stack = np.stack([look.light for look in looks])
    rows, columns = map(int, stack.shape[1:3])
    step = _COARSE if min(rows, columns) > 20 * _COARSE else 1
    small = _smaller(stack, step)
    coarse = prepared(blurred(small, _FIRST_BLUR / step))

    def compared(corners: Corners) -> Floats:
        return fit(coarse, blurred(rectified(pixels, corners, *small.shape[1:3]), _FIRST_BLUR / step)).left

    tries = [(compared(start), start) for start in starts if start is not None]
    if not tries:
        return _dark(pixels, looks)
    left, corners = min(tries, key=lambda one: float(one[0].min()))
    corners = aligned(pixels, corners, small[left.argmin()])
    near = np.argsort(compared(corners))[:_NEAR]
    fine = prepared(blurred(stack[near], _BLURS[1]))
    order, tried = near, set[int]()
    for _ in range(_ROUNDS):
        best = int(order[0])
        if best in tried:
            break
        tried.add(best)
        corners = aligned(pixels, corners, stack[best], _FINE_LEVELS)
        seen = rectified(pixels, corners, rows, columns)
        at = int(np.flatnonzero(near == best)[0])
        light = fit(fine[at : at + 1], seen)
        gammas = tuple(sorted({float(light.gamma[0]) * change for change in (0.9, 1.0, 1.1)}))
        order = near[np.argsort(fit(fine, seen, gammas=gammas, shadings=(float(light.shading[0]),)).left)]
    short = order[:_SHORTLIST]
    # One camera took the photograph: the others start from the best one's light and blur.
    tried_blurs = {sigma: answer_to(blurred(stack[short[0]], sigma), seen) for sigma in _BLURS}
    sigma = min(tried_blurs, key=lambda blur: tried_blurs[blur].left)
    start = tried_blurs[sigma].camera
    answers = side_by_side(lambda at: answer_to(blurred(stack[at], sigma), seen, start), short)
    found = _candidates(looks, stack, short, answers, seen, most)
    return Ranking(candidates=tuple(found), corners=corners, seen=seen)


def _dark(pixels: Singles, looks: Sequence[Look]) -> Ranking | None:
    """Return the ranking where nothing bright is to be seen: the dark look, if there is one, and no more."""
    look = next((look for look in looks if look.light.max() < _BLACK), None)
    if look is None or np.median(pixels) > _DIM:
        return None
    nothing, sound = np.zeros_like(look.light), look is looks[0]
    faults = () if sound else look.faults
    one = Candidate(faults=faults, sound=sound, score=1.0, confidence=DARK, predicted=nothing)
    return Ranking(candidates=(one,), corners=None, seen=nothing)


def _smaller(stack: Singles, step: int) -> Singles:
    """Return the means of pictures over squares of cells; cells beyond the last whole square are left out."""
    if step == 1:
        return stack
    rows, columns = (size // step for size in stack.shape[1:3])
    squares = stack[:, : rows * step, : columns * step].reshape(-1, rows, step, columns, step, 3)
    return np.asarray(squares.mean(axis=(2, 4)))


def _candidates(
    looks: Sequence[Look], stack: Singles, places: Ints, answers: Sequence[Answer], seen: Singles, most: int
) -> list[Candidate]:
    """Return the looks at some places, those that are alike together, the likeliest first."""
    left = np.array([answer.left for answer in answers])
    whole = float(seen[1:-1, 1:-1].var(axis=(0, 1), dtype=np.float64).mean()) + NOISE**2
    weights = (left.min() / np.maximum(left, 1e-12)) ** (_EVIDENCE / 2)
    gains = np.array([answer.camera[:3] for answer in answers])
    weights *= np.exp(-0.5 * np.square((gains / gains.mean(axis=1, keepdims=True) - 1) / _CAST).sum(axis=1))
    weights[places == 0] *= _SOUND
    weights /= weights.sum()
    found: list[Candidate] = []
    free = np.ones(len(looks), dtype=bool)
    for at in np.argsort(-weights, kind="stable"):
        if not free[places[at]] or len(found) == most:
            continue
        same = free & alike(stack[places[at]], stack)
        free &= ~same
        members = [places[at], *(place for place in np.flatnonzero(same) if place != places[at])]
        found.append(
            Candidate(
                faults=tuple(fault for place in members if place for fault in looks[place].faults),
                sound=bool(same[0]),
                score=float(1 - left[at] / whole),
                confidence=float(weights[same[places]].sum()),
                predicted=answers[at].predicted,
            )
        )
    return sorted(found, key=lambda candidate: -candidate.confidence)
