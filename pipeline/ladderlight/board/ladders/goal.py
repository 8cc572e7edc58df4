"""What a ladder is to be designed for, and what counts as even steps."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.palette import linear_from_srgb, srgb_from_linear
from ladderlight.colour.lightness import lightness_of, luminance_of

Even = Literal["volts", "perceptual"]

WORST = 0.25
"""Share of the whole range by which a ladder may err at most; what errs more is no ladder for that goal."""


@dataclass(frozen=True, kw_only=True)
class Goal:
    """What a channel's ladder should do. Volts, ohms, amperes.

    ``even`` says in what the steps from 0 to the peak are to be equal: in volts, or in lightness (CIE L* of the light
    that an sRGB monitor makes of the voltage). ``driver`` is the drivers' output resistance, ``current_limit`` the most
    that one driver may source.
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
    def wanted(self) -> NDArray[np.float64]:
        """What each code should come to, in volts or in L*."""
        full = self.peak if self.even == "volts" else 100.0
        return full * np.arange(self.top + 1) / self.top

    @property
    def worst(self) -> float:
        """The largest error, in the goal's measure, with which a ladder is still worth offering."""
        return WORST * float(self.wanted[-1])

    def effect(self, volts: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give what is to be even: the volts themselves, or the lightness of the light."""
        return volts if self.even == "volts" else lightness_of(linear_from_srgb(volts / self.peak))

    def volts_for(self, effect: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn :meth:`effect` round."""
        return effect if self.even == "volts" else self.peak * srgb_from_linear(luminance_of(effect))
