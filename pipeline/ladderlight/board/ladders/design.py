"""The best ladders from resistors that can be bought: the preferred values of IEC 60063, alone or two together."""

from dataclasses import replace
from functools import cached_property
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.ladders.analysis import LadderAnalysis, analyse
from ladderlight.board.ladders.search import WORST, Goal, WeightedSearch, best_r2r
from ladderlight.board.model.ladder import Assembly, Channel, Joined, Ladder
from ladderlight.errors import BoardError, Fault
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Floats
from ladderlight.units.words import in_words, percent

Series = Literal["E6", "E12", "E24", "E48", "E96", "E192"]

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""E24. E12 is every second of these and E6 every fourth; they are older than the rule for the finer series."""
_OFF_THE_RULE = {919: 920}  # the one value, of E192, where the standard departs from its rule
TOLERANCES: dict[Series, float] = {"E6": 0.2, "E12": 0.1, "E24": 0.05, "E48": 0.02, "E96": 0.01, "E192": 0.005}
"""The tolerance that each series is made for (IEC 60063)."""
SMALLEST, LARGEST = 10.0, 1e6
"""Range of values in ohms: that of small through-hole resistors (common practice)."""

_JOINED: tuple[Joined, ...] = get_args(Joined)
_SAME_DIGITS = 12
MOST_BITS = 8
ALTERNATIVES = 10
_COARSE: tuple[Series, ...] = ("E6", "E12", "E24")
_FEW = 4
_CHANNEL = "drive"


class Stock(Frozen, eq=False):
    """The resistances to choose from, ascending, each once. Same-shaped arrays: ``first`` and ``second`` are the parts,
    ``second`` 0 for a single resistor; ``joined`` the index of how they are joined.
    """

    ohms: Floats
    first: Floats
    second: Floats
    joined: NDArray[np.int8]

    def assembly(self, index: int) -> Assembly:
        """Return one of the resistances with its parts."""
        first, second = float(self.first[index]), float(self.second[index])
        joined = _JOINED[self.joined[index]]
        return Assembly(parts=(first,) if joined == "single" else (first, second), joined=joined)


def preferred_values(series: Series) -> Floats:
    """Return a series' values in ohms from ``SMALLEST`` to ``LARGEST``, ascending.

    Two digits to E24, and from E48 on 10**(n / N) to three digits (IEC 60063).
    """
    count = int(series[1:])
    if count <= len(_E24):
        decade = [float(value) for value in _E24[:: len(_E24) // count]]
    else:
        rule = [round(100 * 10 ** (n / count)) for n in range(count)]
        decade = [_OFF_THE_RULE.get(value, value) / 10 for value in rule]
    # Through the text, so that 3300 is 3300 and not the float beside it.
    values = np.array([float(f"{value}e{power}") for power in range(6) for value in decade])
    return values[values <= LARGEST]


def stock_of(series: Series, *, pairs: bool = False) -> Stock:
    """Return what can be put in one resistor's place.

    With ``pairs`` also any two values in series or in parallel, as far as they come out from ``SMALLEST`` to
    ``LARGEST``. Of equal resistances the single resistor is kept, then the pair whose parts are most alike.
    """
    single = preferred_values(series)
    ohms, first, second = [single], [single], [np.zeros_like(single)]
    if pairs:
        small, large = np.triu_indices(len(single))
        a, b = single[small], single[large]
        ohms += [a + b, a * b / (a + b)]
        first += [a, a]
        second += [b, b]
    joined = np.repeat(np.arange(len(ohms), dtype=np.int8), [len(values) for values in ohms])
    all_ohms, all_first, all_second = map(np.concatenate, (ohms, first, second))
    unlike = np.where(joined == 0, 0.0, all_second / all_first)
    unit = 10.0 ** (np.floor(np.log10(all_ohms)) - _SAME_DIGITS + 1)
    rounded = np.rint(all_ohms / unit) * unit  # sums that differ in their last bit are one resistance
    order = np.lexsort((joined, unlike, rounded))
    kept = order[np.concatenate([[True], np.diff(rounded[order]) > 0])]
    kept = kept[(all_ohms[kept] >= SMALLEST) & (all_ohms[kept] <= LARGEST)]
    return Stock(ohms=all_ohms[kept], first=all_first[kept], second=all_second[kept], joined=joined[kept])


class Choice(Frozen):
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
    values from ``SMALLEST`` to ``LARGEST`` is better. Ladders that err by more than a quarter of the
    whole range are not offered; the list may then be shorter. Raises BoardError when the goal cannot be met by any
    ladder, or nothing keeps its current limit.

    With ``pairs`` two resistors in series or in parallel may take the place of one; not for R-2R. ``tolerance`` of the
    resistors does not change the choice, only its analysis.
    """
    problems = goal_problems(goal)
    if pairs and r2r:
        problems.append("an R-2R ladder has no use for pairs; leave one of the two out")
    if pairs and goal.even == "perceptual" and (series not in _COARSE or goal.bits > _FEW):
        problems.append(
            f"pairs from {series} for {goal.bits} bits are too many to search for even lightness; "
            f"use at most {_FEW} bits of E24, whose pairs are fine enough, or leave pairs out"
        )
    if problems:
        raise BoardError.of(Fault(where="", message=problem) for problem in problems)
    choices = _best(goal, series, tolerance, alternatives + 1, pairs=pairs, r2r=r2r)
    if not choices:
        raise BoardError(_nothing(goal, series, pairs=pairs, r2r=r2r))
    return choices


def _nothing(goal: Goal, series: Series, *, pairs: bool, r2r: bool) -> str:
    """Return why nothing was found: the current limit, if ladders without it exist."""
    if goal.current_limit is not None:
        choices = _best(replace(goal, current_limit=None), series, 0.0, 1, pairs=pairs, r2r=r2r)
        if choices:
            needed = max(driver.source for driver in choices[0].analysis.drivers)
            return (
                f"no ladder of {goal.bits} bits comes near even steps with {in_words(goal.current_limit, 'A')} a "
                f"driver; the best without a limit takes {in_words(needed, 'A', digits=3)}; "
                "raise the limit, or put a stronger buffer before the ladder"
            )
    return (
        f"no {series} values from 10 ohm to 1 Mohm make a ladder of {goal.bits} bits that errs by less than "
        f"{percent(WORST)} of its range; "
        "use a finer series or pairs, another load or supply, or allow non-monotonic ladders"
    )


def _best(goal: Goal, series: Series, tolerance: float, most: int, *, pairs: bool, r2r: bool) -> list[Choice]:
    if not r2r:
        stock = stock_of(series, pairs=pairs)
        found = WeightedSearch(goal=goal, values=stock.ohms, most=most).best().index.tolist()
        chosen = [tuple(map(stock.assembly, row)) for row in found]
        return [Choice(goal=goal, resistors=resistors, tolerance=tolerance) for resistors in chosen]
    values, choices = preferred_values(series), []
    for _, rail, rung in best_r2r(goal, values, most):
        leg = Assembly(parts=(rung,)) if rung in values else Assembly(parts=(rail, rail), joined="series")
        resistors, rails = (leg,) * goal.bits, Assembly(parts=(rail,))
        choices.append(Choice(goal=goal, resistors=resistors, rail=rails, tolerance=tolerance))
    return choices


def goal_problems(goal: Goal) -> list[str]:
    """Return why no ladder can meet a goal, and what to do; empty when one might."""
    limit = goal.current_limit
    checks = {
        f"{goal.bits} bits in one ladder; use 1 to {MOST_BITS}": 1 <= goal.bits <= MOST_BITS,
        f"a supply of {goal.supply:g}; give more than 0": 0 < goal.supply < np.inf,
        f"a load of {goal.load:g}; give more than 0": 0 < goal.load < np.inf,
        f"a peak of {goal.peak:g}; give more than 0": 0 < goal.peak < np.inf,
        f"a driver of {goal.driver:g} ohm; give 0 or more": 0 <= goal.driver < np.inf,
        f"a current limit of {limit or 0:g} A; give more than 0": limit is None or limit > 0,
    }
    problems = [problem for problem, fine in checks.items() if not fine]
    if not problems and goal.peak >= goal.supply * goal.load / (goal.load + goal.driver / goal.bits):
        return [f"{goal.peak:g} V cannot be reached from {goal.supply:g} V; give a higher supply or a lower peak"]
    return problems
