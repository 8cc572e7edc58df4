"""The goal of a ladder's design, and the measure of even steps."""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from ladderlight.board.model.palette import linear_from_srgb, srgb_from_linear
from ladderlight.colour.lightness import lightness_of, luminance_of
from ladderlight.units.arrays import Floats

Even = Literal["volts", "perceptual"]

WORST = 0.25
"""Share of the whole range that a ladder's largest error may be; worse ladders are not offered."""


@dataclass(frozen=True, kw_only=True)
class Goal:
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

    def volts_for(self, effect: Floats) -> Floats:
        """Return the inverse of :meth:`effect`."""
        return effect if self.even == "volts" else self.peak * srgb_from_linear(luminance_of(effect))
