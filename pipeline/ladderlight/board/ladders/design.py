"""The best ladders from resistors that can be bought."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ladderlight.board.ladders.analysis import LadderAnalysis, analyse
from ladderlight.board.ladders.search import WORST, Goal, WeightedSearch, best_r2r
from ladderlight.board.ladders.series import Series, preferred_values, stock_of
from ladderlight.board.model.ladder import Assembly, Channel, Ladder
from ladderlight.errors import BoardError, Problem
from ladderlight.units.arrays import Floats
from ladderlight.units.words import in_words, percent

MOST_BITS = 8
ALTERNATIVES = 10
_COARSE: tuple[Series, ...] = ("E6", "E12", "E24")
_FEW = 4
_CHANNEL = "drive"


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One ladder that could be built: ``resistors`` least significant first; in R-2R the rungs, with ``rail``."""

    goal: Goal
    resistors: tuple[Assembly, ...]
    tolerance: float = 0.0
    rail: Assembly | None = None

    def ladder_of(self, *names: str) -> Ladder:
        """Build it for some channels, one after the other to the guns, with lines such as ``r0``, ``r1`` for red."""
        goal, channels = self.goal, []
        for gun, name in enumerate(names):
            lines = {f"{name[0]}{bit}": resistor for bit, resistor in enumerate(self.resistors)}
            ohms = {line: resistor.ohms for line, resistor in lines.items()}
            pairs = {line: resistor for line, resistor in lines.items() if resistor.joined != "single"}
            rail = self.rail.ohms if self.rail else None
            channels.append(Channel(name=name, resistors=ohms, pairs=pairs, guns=(gun,), r2r=rail))
        return Ladder(
            supply=goal.supply,
            load=goal.load,
            peak=goal.peak,
            driver_high=goal.driver,
            driver_low=goal.driver,
            tolerance=self.tolerance,
            channels=tuple(channels),
        )

    @cached_property
    def ladder(self) -> Ladder:
        """The ladder of one channel, its lines ``d0``, ``d1`` and so on."""
        return self.ladder_of(_CHANNEL)

    @cached_property
    def volts(self) -> Floats:
        """Levels by code, float64 (codes,)."""
        channel = self.ladder.channels[0]
        return self.ladder.solve_group((channel,), channel.lines).at(_CHANNEL)

    @cached_property
    def analysis(self) -> LadderAnalysis:
        """The full analysis."""
        return analyse(self.ladder)

    @property
    def max_error(self) -> float:
        """Largest deviation in volts from equal steps of voltage from 0 to the peak."""
        return float(replace(self.goal, even="volts").error(self.volts))

    @property
    def max_lightness_error(self) -> float:
        """Largest deviation from equal steps of lightness (CIE L*) from 0 to 100."""
        return float(replace(self.goal, even="perceptual").error(self.volts))

    @property
    def monotonic(self) -> bool:
        """Whether each code is brighter than the one before."""
        return bool((np.diff(self.volts) > 0).all())


def design(
    goal: Goal,
    series: Series,
    *,
    pairs: bool = False,
    r2r: bool = False,
    tolerance: float = 0.0,
    alternatives: int = ALTERNATIVES,
) -> list[Choice]:
    """Return the best ladder and the next best, best first.

    The objective is the goal's: the largest deviation from equal steps, of voltage or of lightness. No other choice of
    values from ``series.SMALLEST`` to ``series.LARGEST`` is better. Ladders that err by more than a quarter of the
    whole range are not offered; the list may then be shorter. Raises BoardError when the goal cannot be met by any
    ladder, or nothing keeps its current limit.

    With ``pairs`` two resistors in series or in parallel may take the place of one; not for R-2R. ``tolerance`` of the
    resistors does not change the choice, only its analysis.
    """
    problems = goal_problems(goal)
    if pairs and r2r:
        what = "an R-2R ladder has no use for pairs"
        problems.append(Problem(where=("pairs",), what=what, action="leave one of the two out"))
    if pairs and goal.even == "perceptual" and (series not in _COARSE or goal.bits > _FEW):
        what = f"pairs from {series} for {goal.bits} bits are too many to search for even lightness"
        action = f"use at most {_FEW} bits of E24, whose pairs are fine enough, or leave pairs out"
        problems.append(Problem(where=("pairs",), what=what, action=action))
    if problems:
        raise BoardError(problems)
    most = alternatives + 1
    choices = _r2r(goal, series, tolerance, most) if r2r else _weighted(goal, series, tolerance, most, pairs=pairs)
    if not choices:
        raise BoardError([_nothing(goal, series, pairs=pairs, r2r=r2r)])
    return choices


def _nothing(goal: Goal, series: Series, *, pairs: bool, r2r: bool) -> Problem:
    """Return why nothing was found: the current limit, if ladders without it exist."""
    if goal.current_limit is not None:
        free = replace(goal, current_limit=None)
        choices = _r2r(free, series, 0.0, 1) if r2r else _weighted(free, series, 0.0, 1, pairs=pairs)
        if choices:
            needed = max(driver.source for driver in choices[0].analysis.drivers)
            return Problem(
                where=("current_limit",),
                what=f"no ladder of {goal.bits} bits comes near even steps with {in_words(goal.current_limit, 'A')} a "
                f"driver; the best without a limit takes {in_words(needed, 'A', digits=3)}",
                action="raise the limit, or put a stronger buffer before the ladder",
            )
    return Problem(
        where=("series",),
        what=f"no {series} values from 10 ohm to 1 Mohm make a ladder of {goal.bits} bits that errs by less than "
        f"{percent(WORST)} of its range",
        action="use a finer series or pairs, another load or supply, or allow non-monotonic ladders",
    )


def _weighted(goal: Goal, series: Series, tolerance: float, most: int, *, pairs: bool) -> list[Choice]:
    stock = stock_of(series, pairs=pairs)
    found = WeightedSearch(goal=goal, values=stock.ohms, most=most).best()
    return [
        Choice(goal=goal, resistors=tuple(stock.assembly(index) for index in row), tolerance=tolerance)
        for row in found.index.tolist()
    ]


def _r2r(goal: Goal, series: Series, tolerance: float, most: int) -> list[Choice]:
    found = best_r2r(goal, preferred_values(series), most)
    values = set(preferred_values(series).tolist())
    choices = []
    for rail, rung in zip(found.rail.tolist(), found.rung.tolist(), strict=True):
        leg = Assembly(parts=(rung,)) if rung in values else Assembly(parts=(rail, rail), joined="series")
        resistors, rails = (leg,) * goal.bits, Assembly(parts=(rail,))
        choices.append(Choice(goal=goal, resistors=resistors, rail=rails, tolerance=tolerance))
    return choices


def goal_problems(goal: Goal) -> list[Problem]:
    """Return why no ladder can meet a goal; empty when one might."""
    limit, more = goal.current_limit, "give more than 0"
    problems = [
        Problem(where=(key,), what=what, action=action)
        for fine, key, what, action in (
            (1 <= goal.bits <= MOST_BITS, "bits", f"{goal.bits} bits in one ladder", f"use 1 to {MOST_BITS}"),
            (0 < goal.supply < np.inf, "supply", f"a supply of {goal.supply:g}", more),
            (0 < goal.load < np.inf, "load", f"a load of {goal.load:g}", more),
            (0 < goal.peak < np.inf, "peak", f"a peak of {goal.peak:g}", more),
            (0 <= goal.driver < np.inf, "driver", f"a driver of {goal.driver:g} ohm", "give 0 or more"),
            (limit is None or limit > 0, "current_limit", f"a current limit of {limit or 0:g} A", more),
        )
        if not fine
    ]
    if not problems and goal.peak >= goal.supply * goal.load / (goal.load + goal.driver / goal.bits):
        what = f"{goal.peak:g} V cannot be reached from {goal.supply:g} V"
        problems.append(Problem(where=("peak",), what=what, action="give a higher supply or a lower peak"))
    return problems
