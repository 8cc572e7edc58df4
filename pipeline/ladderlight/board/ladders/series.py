"""Resistances that can be bought: the preferred values of IEC 60063, alone or two together."""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.ladder import Assembly, Joined
from ladderlight.units.arrays import Floats

Series = Literal["E6", "E12", "E24", "E48", "E96", "E192"]

_COARSE = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""E24. E12 is every second of these and E6 every fourth; they are older than the rule for the finer series."""
_OFF_THE_RULE = {919: 920}
"""The one value, of E192, where the standard departs from its rule."""
_TOLERANCES: dict[Series, float] = {"E6": 0.2, "E12": 0.1, "E24": 0.05, "E48": 0.02, "E96": 0.01, "E192": 0.005}

SMALLEST, LARGEST = 10.0, 1e6
"""Range of values in ohms: that of small through-hole resistors (common practice)."""

_JOINED: tuple[Joined, ...] = get_args(Joined)
_SAME_DIGITS = 12


@dataclass(frozen=True, kw_only=True, eq=False)
class Stock:
    """The resistances to choose from, ascending, each once. Same-shaped arrays: ``first`` and ``second`` are the parts,
    ``second`` 0 for a single resistor; ``joined`` the index of how they are joined.
    """

    ohms: Floats
    first: Floats
    second: Floats
    joined: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.ohms)

    def assembly(self, index: int) -> Assembly:
        """Return one of the resistances with its parts."""
        first, second = float(self.first[index]), float(self.second[index])
        joined = _JOINED[self.joined[index]]
        return Assembly(parts=(first,) if joined == "single" else (first, second), joined=joined)


def preferred_values(series: Series, *, smallest: float = SMALLEST, largest: float = LARGEST) -> Floats:
    """Return a series' values from ``smallest`` to ``largest`` ohms, ascending (IEC 60063)."""
    mantissas = _mantissas(series)
    digits = len(str(mantissas[0])) - 1
    first, last = int(np.floor(np.log10(smallest))), int(np.ceil(np.log10(largest)))
    # Through the text, so that 3300 is 3300 and not the float beside it.
    values = np.array([float(f"{m}e{decade - digits}") for decade in range(first, last + 1) for m in mantissas])
    return values[(values >= smallest) & (values <= largest)]


def _mantissas(series: Series) -> list[int]:
    """Return the values of one decade: two digits to E24, and from E48 on 10**(n / N) to three digits (IEC 60063)."""
    count = int(series[1:])
    if count <= len(_COARSE):
        return list(_COARSE[:: len(_COARSE) // count])
    values = [round(100 * 10 ** (n / count)) for n in range(count)]
    return [_OFF_THE_RULE.get(value, value) for value in values]


def series_tolerance(series: Series) -> float:
    """Return the tolerance that a series is made for: 0.05 for E24 (IEC 60063)."""
    return _TOLERANCES[series]


def stock_of(series: Series, *, pairs: bool = False, smallest: float = SMALLEST, largest: float = LARGEST) -> Stock:
    """Return what can be put in one resistor's place.

    With ``pairs`` also any two values in series or in parallel, as far as they come out from ``smallest`` to
    ``largest``. Of equal resistances the single resistor is kept, then the pair whose parts are most alike.
    """
    single = preferred_values(series, smallest=smallest, largest=largest)
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
    rounded = _rounded(all_ohms)
    order = np.lexsort((joined, unlike, rounded))
    kept = order[np.concatenate([[True], np.diff(rounded[order]) > 0])]
    kept = kept[(all_ohms[kept] >= smallest) & (all_ohms[kept] <= largest)]
    return Stock(ohms=all_ohms[kept], first=all_first[kept], second=all_second[kept], joined=joined[kept])


def _rounded(values: Floats) -> Floats:
    """Round to significant digits, so that sums that differ in their last bit count as one resistance."""
    unit = 10.0 ** (np.floor(np.log10(values)) - _SAME_DIGITS + 1)
    rounded: Floats = np.rint(values / unit) * unit
    return rounded
