"""The measure of the search for codes: how visible an error is, as a quadratic form that the loop keeps up to date."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Floats, Singles
from ladderlight_stages.perception.lab_loops import ciede2000, lab_from
from ladderlight_stages.perception.primaries import XYZ_FROM_LINEAR
from ladderlight_stages.perception.vision import (
    FILTERS,
    OPPONENT_FROM_XYZ,
    SHARES_FROM_OPPONENT,
    Viewer,
    blur_within,
    ciede_weights,
    seen_opponent,
)
from ladderlight_stages.refining.polish import nearest_others

_REACH = 10
"""Pixels to which the eye's blur is followed; wider errors stay as in the picture that the search starts from."""
_MOVES = 64
_TANGENT = 0.01
_SMALL = 0.003
_LEAST_DIFFERENCE = 5.0

# S-CIELAB's opponent channels are not balanced: a grey has red-green in it. Here grey has none, so that an error in
# lightness is an error of the first channel alone, and channels are weighted one by one.
_WHITE = OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR @ np.ones(3)
_BALANCE = np.array([[1, 0, 0], [-_WHITE[1] / _WHITE[0], 1, 0], [-_WHITE[2] / _WHITE[0], 0, 1]])
_FROM_BALANCED = np.linalg.inv(_BALANCE)
_BALANCED_FROM_LINEAR = _BALANCE @ OPPONENT_FROM_XYZ @ XYZ_FROM_LINEAR


@dataclass(frozen=True, kw_only=True, eq=False)
class SearchModel:
    """A picture, float32 (height, width, 3) of linear light, the colours there are, and the viewer's density."""

    pixels: Singles
    linear: Floats
    density: tuple[float, float]

    @cached_property
    def colours(self) -> Singles:
        """The colours in balanced opponent channels, float32 (colours, 3)."""
        return np.asarray(self.linear @ _BALANCED_FROM_LINEAR.T, dtype=np.float32)

    @cached_property
    def spread(self) -> Singles:
        """The autocorrelation of each channel's blur, float32 (4 reach + 1, 4 reach + 1, 3)."""
        return np.stack([_autocorrelation(channel, self.density) for channel in range(3)], axis=-1).astype(np.float32)

    @cached_property
    def _viewer(self) -> Viewer:
        return Viewer(reference=self.pixels, density=self.density)

    @cached_property
    def _seen(self) -> Floats:
        return seen_opponent(self.pixels, self.density)

    def visible_error(self, chosen: NDArray[np.int32]) -> float:
        """Return the mean S-CIELAB error of a choice of colours, (height, width)."""
        return self._viewer.error(self.linear[chosen]).mean

    def weights(self, chosen: NDArray[np.int32], *, large: bool) -> Singles:
        """Return the change of CIELAB, as seen, with each channel at each pixel: float32 (height, width, 3).

        For small errors, or with ``large`` for the errors of the chosen colours; a large error then counts by itself
        rather than by its square.
        """
        lab = _lab(self._seen)
        shown = seen_opponent(self.linear[chosen], self.density) if large else self._seen
        error = (shown - self._seen) @ _BALANCE.T
        bright, dull = ciede_weights(lab)
        weights = np.empty(lab.shape)
        for channel in range(3):
            size = np.full(lab.shape[:2], _TANGENT)
            if large:
                size = np.where(np.abs(error[..., channel]) > _SMALL, error[..., channel], _SMALL)
            change = (_lab(self._seen + size[..., None] * _FROM_BALANCED[:, channel]) - lab) / size[..., None]
            chroma = (change[..., 1] ** 2 + change[..., 2] ** 2) / dull**2
            weights[..., channel] = np.sqrt((change[..., 0] / bright) ** 2 + chroma)
        if large:
            difference = np.maximum(ciede2000(lab, _lab(shown)), _LEAST_DIFFERENCE)
            weights /= np.sqrt(difference)[..., None]
        return (weights / 100).astype(np.float32)

    def pull(self, chosen: NDArray[np.int32], weights: Singles) -> Singles:
        """Return the weighted error convolved with ``spread``, float32 (height, width, 3)."""
        from scipy.signal import fftconvolve  # slow to import

        error = (self.colours[chosen] - self.pixels @ _BALANCED_FROM_LINEAR.T.astype(np.float32)) * weights
        pulls = [fftconvolve(error[..., c], self.spread[..., c], mode="same") for c in range(3)]
        return np.stack(pulls, axis=-1).astype(np.float32)

    def moves(self, weights: Singles) -> NDArray[np.int32]:
        """Return, for each colour, the nearest others and itself, int32 (colours, moves)."""
        return nearest_others(self.colours * weights.mean(axis=(0, 1)), _MOVES)


def _lab(opponent: Floats) -> Floats:
    # the blur takes away some of the surroundings, so that XYZ may be below zero: CIELAB's straight line goes on there
    return np.asarray(lab_from(opponent, SHARES_FROM_OPPONENT))


def _autocorrelation(channel: int, density: tuple[float, float]) -> Floats:
    from scipy.signal import fftconvolve  # slow to import

    # the widest Gaussian, a negative one, takes away what is even all over the picture
    blur = blur_within([gaussian for gaussian in FILTERS[channel] if gaussian[0] > 0], density, _REACH)
    blur /= blur.sum()
    return np.asarray(fftconvolve(blur, blur[::-1, ::-1]))
