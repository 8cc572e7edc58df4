"""The best ladders from the resistors of a drawer: the values at hand, each as often as there is one."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby

import numpy as np

from ladderlight.board.ladders.design import Choice, goal_problems
from ladderlight.board.ladders.search import WORST, Goal, WeightedSearch
from ladderlight.board.model.ladder import Assembly, Joined, mark_of
from ladderlight.errors import BoardError, Fault
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Ints
from ladderlight.units.parsing import MisfitError, quantity
from ladderlight.units.words import percent

MOST_KINDS = 48
_ANY = 1 << 30  # stands for as many as are needed
_ENTRY = re.compile(r"(?:(?P<count>\d+)\s*[x×*]\s*)?(?P<value>[^=]+?)\s*(?:=\s*(?P<measured>.+))?")
_FIRST, _DEEP, _DEEPEST = 64, 1024, 4096
"""Ladders of which sets for several channels are made: at first, where one set is enough, and at most."""


class Kind(Frozen):
    """Resistors of one value: ``mark`` as they are marked, ``680=674`` when measured."""

    ohms: float
    mark: str
    quantity: int = _ANY


class Drawer(Frozen):
    """The resistors at hand, ascending."""

    kinds: tuple[Kind, ...]

    @property
    def measured(self) -> bool:
        """Whether all of them are measured."""
        return all("=" in kind.mark for kind in self.kinds)

    def __str__(self) -> str:
        counts = (f"{kind.quantity} x " * (kind.quantity < _ANY) for kind in self.kinds)
        return ", ".join(count + kind.mark for count, kind in zip(counts, self.kinds, strict=True))


def read_drawer(text: str) -> Drawer:
    """Read a list such as ``220, 4 x 680, 680=674``.

    A value alone stands for as many as are needed, ``4 x`` before it for four. A measured value follows ``=``, and is
    of one resistor unless a number is before it. Raises MisfitError when an entry is not a resistance, or there are
    none or too many.
    """
    held: dict[tuple[float, str], int] = {}
    entries = [entry.strip() for entry in text.split(",")]
    for number, entry in enumerate(entries, start=1):
        if not entry:
            action = "write values with commas between, such as 220, 4 x 680"
            raise MisfitError(f"has no value as entry {number}", action)
        kind = _kind(number, entry)
        key = (kind.ohms, kind.mark)
        held[key] = min(_ANY, held.get(key, 0) + kind.quantity)
    if len(held) > MOST_KINDS:
        raise MisfitError(f"has {len(held)} values", f"give at most {MOST_KINDS}")
    return Drawer(kinds=tuple(Kind(ohms=ohms, mark=mark, quantity=n) for (ohms, mark), n in sorted(held.items())))


def _kind(number: int, entry: str) -> Kind:
    match = _ENTRY.fullmatch(entry)
    if match is None or match["count"] == "0" * len(match["count"] or "-"):
        raise MisfitError(f"has {entry!r} as entry {number}", "write 680, 4 x 680, or 680=674 for a measured one")
    try:
        nominal, ohms = (quantity(match[name] or match["value"], "ohm") for name in ("value", "measured"))
    except MisfitError as error:
        raise MisfitError(f"{error.what} (entry {number})", error.action) from None
    if not min(nominal, ohms) > 0:
        raise MisfitError(f"has {entry!r} as entry {number}", "give more than 0 ohm")
    measured = match["measured"] is not None
    if measured and not nominal / 2 <= ohms <= nominal * 2:
        what = f"has {entry!r} as entry {number}, far from its marking"
        raise MisfitError(what, "write the unit letter too, such as 1k5=1.49k")
    count = int(match["count"]) if match["count"] else 1 if measured else _ANY
    return Kind(ohms=ohms, mark=mark_of(nominal) + f"={mark_of(ohms)}" * measured, quantity=count)


def design_from(
    goal: Goal,
    drawer: Drawer,
    *,
    pairs: bool = False,
    channels: int = 1,
    tolerance: float = 0.0,
    alternatives: int = 10,
) -> list[tuple[Choice, ...]]:
    """Return the best ladders for some channels from a drawer, then the next best, best first.

    Of each set the best ladder comes first. The sets are ordered by the error of their worst ladder: no other set that
    the drawer allows has a smaller one. Raises BoardError when the goal cannot be met by any ladder, or not from the
    drawer.

    Each of the 1 to 3 ``channels`` has a ladder of its own, from resistors that no other one has. ``pairs`` and
    ``tolerance`` as for :func:`ladderlight.board.ladders.design.design`.
    """
    if problems := goal_problems(goal):
        raise BoardError.of(Fault(where="", message=problem) for problem in problems)
    search = _Search(goal=goal, drawer=drawer, pairs=pairs)
    sets = search.sets(channels, alternatives + 1)
    if not sets:
        raise BoardError(_too_little(search, channels))
    return [tuple(search.choice(row, tolerance) for row in chosen) for chosen in sets]


@dataclass(kw_only=True)
class _Search:
    goal: Goal
    drawer: Drawer
    pairs: bool
    index: Ints = field(init=False)

    @cached_property
    def _places(self) -> list[tuple[Assembly, tuple[int, ...]]]:
        """What can take one resistor's place, ascending, each with the kinds that it takes one of.

        Of equal resistances only the first is kept where all kinds are there as often as needed: a single resistor, or
        the pair whose parts are most alike.
        """
        kinds = self.drawer.kinds
        found: list[tuple[Assembly, tuple[int, ...]]]
        found = [(_assembly(kind), (place,)) for place, kind in enumerate(kinds)]
        for a, first in enumerate(kinds) if self.pairs else ():
            for b, second in enumerate(kinds[a:], start=a):
                if a != b or first.quantity > 1:
                    found += [(_assembly(first, second, joined=joined), (a, b)) for joined in ("series", "parallel")]
        found.sort(key=lambda item: (round(item[0].ohms, 9), len(item[1]), item[0].parts[-1] / item[0].parts[0]))
        if all(kind.quantity == _ANY for kind in kinds):
            return [next(alike) for _, alike in groupby(found, key=lambda item: round(item[0].ohms, 9))]
        return found

    def choice(self, row: int, tolerance: float) -> Choice:
        resistors = tuple(self._places[place][0] for place in self.index[row])
        return Choice(goal=self.goal, resistors=resistors, tolerance=tolerance)

    @cached_property
    def _uses(self) -> Ints:
        uses = np.zeros((len(self._places), len(self.drawer.kinds)), dtype=np.int64)
        for place, (_, kinds) in enumerate(self._places):
            np.add.at(uses[place], list(kinds), 1)
        return uses

    @cached_property
    def _held(self) -> Ints:
        return np.array([kind.quantity for kind in self.drawer.kinds])

    def sets(self, channels: int, wanted: int) -> list[tuple[int, ...]]:
        """Return the best sets of ladders as rows of ``index``, best first."""
        most = wanted if channels == 1 else _FIRST
        while True:
            values = np.array([assembly.ohms for assembly, _ in self._places])
            search = WeightedSearch(goal=self.goal, values=values, most=most, uses=self._uses, held=self._held)
            self.index = search.best().index
            sets = list(_combined(self._uses[self.index].sum(axis=1), self._held, channels, wanted))
            enough = len(sets) >= wanted or (sets and most >= _DEEP)
            if channels == 1 or enough or len(self.index) < most or most >= _DEEPEST:
                return sets
            most *= 4


def _too_little(search: _Search, channels: int) -> str:
    bits, found = search.goal.bits, len(search.index)
    whole = found < _DEEPEST
    fewer = next((count for count in range(channels - 1, 0, -1) if search.sets(count, 1)), 0)
    enough = f"; it does for {fewer}" if fewer else ""
    each = f"each of {channels} channels" if channels > 1 else "1 channel"
    makes = f"a ladder of {bits} bits that errs by less than {percent(WORST)} of its range for {each}"
    what = f"the drawer does not make {makes}"
    if not whole:
        what = f"no {channels} of the drawer's {found:,} best ladders of {bits} bits can be built together"
    more = ", or allow pairs" if not search.pairs else "" if whole else ", or leave pairs out"
    return f"{what}{enough}; add resistors{more}"


def _assembly(*kinds: Kind, joined: Joined = "single") -> Assembly:
    return Assembly(parts=tuple(kind.ohms for kind in kinds), joined=joined, marks=tuple(kind.mark for kind in kinds))


def _combined(uses: Ints, held: Ints, channels: int, wanted: int) -> Iterator[tuple[int, ...]]:
    """Yield sets of ladders that the drawer allows together: for each ladder as the worst, the best with it."""
    count = 0
    for worst, own in enumerate(uses):
        others = _best_others(uses[: worst + 1], held - own, channels - 1)
        if others is not None:
            yield (*others, worst)
            count += 1
            if count == wanted:
                return


def _best_others(uses: Ints, left: Ints, channels: int) -> tuple[int, ...] | None:
    """Return the best ladders for some more channels from what is left; None when it is not enough."""
    if channels == 0:
        return ()
    fitting = np.flatnonzero((uses <= left).all(axis=1))
    for place in fitting.tolist():
        others = _best_others(uses[: place + 1], left - uses[place], channels - 1)
        if others is not None:
            return (*others, place)
    return None
