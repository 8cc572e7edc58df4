from __future__ import annotations

from collections import Counter
from itertools import combinations_with_replacement, product

import pytest

from ladderlight.board.ladders.drawer import Drawer, Kind, design_from, read_drawer
from ladderlight.board.ladders.search import Goal
from ladderlight.errors import BoardError
from ladderlight.units.parsing import MisfitError

EIGHT = "220, 330, 470, 680, 1k, 1k5, 2k2, 4k7"


def test_values_quantities_and_measurements_are_read() -> None:
    drawer = read_drawer("4 x 680, 220, 1k5=1.49k, 2x470R=468, 3 × 0.33 kohm, 680=674, 680")
    assert drawer.kinds == (
        Kind(ohms=220.0, mark="220"),
        Kind(ohms=330.0, mark="330", quantity=3),
        Kind(ohms=468.0, mark="470=468", quantity=2),
        Kind(ohms=674.0, mark="680=674", quantity=1),
        Kind(ohms=680.0, mark="680"),  # any number besides the four
        Kind(ohms=1490.0, mark="1k5=1k49", quantity=1),
    )
    assert read_drawer("2 x 680, 680 ohm=674, 3 x 680").kinds[1] == Kind(ohms=680.0, mark="680", quantity=5)
    assert read_drawer(str(drawer)) == drawer
    assert not drawer.measured
    assert read_drawer("680=674, 1k=1k01").measured


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("220, 68O", r"is '68O', which is not a resistance \(entry 2\); write a resistance"),
        ("220,, 330", "has no value as entry 2; write values with commas between"),
        ("", "has no value as entry 1"),
        ("0 x 680", "has '0 x 680' as entry 1; write 680, 4 x 680"),
        ("680=", "has '680=' as entry 1"),
        ("680=0", "has '680=0' as entry 1; give more than 0 ohm"),
        (
            "680, 1k5=1.49",
            "has '1k5=1.49' as entry 2, far from its marking; write the unit letter too, such as 1k5=1.49k",
        ),
        (", ".join(map(str, range(100, 149))), "has 49 values; give at most 48"),
    ],
)
def test_what_is_not_a_drawer(text: str, message: str) -> None:
    with pytest.raises(MisfitError, match=message):
        read_drawer(text)


@pytest.mark.parametrize(
    ("supply", "pairs", "resistors", "millivolts"),
    [
        (5.0, False, {"680", "1k5"}, 17.9),
        (5.0, True, {"680 + 680", "220 + 470"}, 3.9),
        (3.3, False, {"470", "680"}, 53),
        (3.3, True, {"1k || 4k7", "470 || 4k7"}, 9.3),
    ],
)
def test_the_best_two_bits_of_eight_values(supply, pairs, resistors, millivolts) -> None:
    """Computed for this project by another program."""
    ((best,), *_) = design_from(Goal(bits=2, supply=supply), read_drawer(EIGHT), pairs=pairs)
    assert {str(resistor) for resistor in best.resistors} == resistors
    assert best.max_error * 1e3 == pytest.approx(millivolts, abs=0.05 if millivolts < 50 else 0.5)


def errors_of(goal: Goal, drawer: Drawer, *, pairs: bool) -> list[tuple[float, Counter[int]]]:
    """Every monotonic ladder of two bits by Millman's theorem, with its error and the kinds that it takes."""
    kinds = drawer.kinds
    rungs = [(kind.ohms, [place]) for place, kind in enumerate(kinds)]
    for a, b in combinations_with_replacement(range(len(kinds)), 2) if pairs else ():
        one, other = kinds[a].ohms, kinds[b].ohms
        rungs += [(one + other, [a, b]), (one * other / (one + other), [a, b])]
    found = []
    for (low, first), (high, second) in product(rungs, repeat=2):
        a, b = 1 / low, 1 / high
        total = a + b + 1 / goal.load
        levels = [0.0, goal.supply * a / total, goal.supply * b / total, goal.supply * (a + b) / total]
        error = max(abs(level - goal.peak * code / 3) for code, level in enumerate(levels))
        if levels == sorted(set(levels)) and error <= 0.25 * goal.peak:
            found.append((error, Counter([*first, *second])))
    return found


@pytest.mark.parametrize("pairs", [False, True], ids=["single", "pairs"])
@pytest.mark.parametrize("channels", [1, 2, 3])
@pytest.mark.parametrize(
    "text", ["2 x 680, 1 x 1k5, 1k, 2 x 1k8, 3 x 560", "3 x 680, 1k5=1520, 1k5=1480, 2 x 3k3, 4 x 1k2"]
)
def test_no_other_set_of_ladders_has_a_smaller_worst_error(text, channels, pairs) -> None:
    """All sets of ladders that the drawer allows, one after the other."""
    goal, drawer = Goal(bits=2), read_drawer(text)
    enough = [min(kind.quantity, 99) for kind in drawer.kinds]
    best: dict[tuple[tuple[int, int], ...], float] = {}
    for error, uses in errors_of(goal, drawer, pairs=pairs):
        key = tuple(sorted(uses.items()))
        best[key] = min(error, best.get(key, 1.0))
    fitting = [(error, Counter(dict(key))) for key, error in best.items() if all(n <= enough[kind] for kind, n in key)]
    fitting.sort(key=lambda item: item[0])
    expected = None
    for worst in range(len(fitting)):
        if reachable(fitting[: worst + 1], channels - 1, fitting[worst][1], enough):
            expected = fitting[worst][0]
            break
    assert expected is not None
    sets = design_from(goal, drawer, pairs=pairs, channels=channels)
    assert max(choice.max_error for choice in sets[0]) == pytest.approx(expected)
    assert len(sets[0]) == channels
    for choices in sets:  # none takes more than there is
        marks = Counter(mark for choice in choices for resistor in choice.resistors for mark in resistor.marks)
        for kind in drawer.kinds:
            assert marks[kind.mark] <= kind.quantity
    worst_errors = [choices[-1].max_error for choices in sets]
    assert worst_errors == sorted(worst_errors)


def reachable(ladders, left: int, used: Counter[int], enough: list[int]) -> bool:
    if any(number > enough[kind] for kind, number in used.items()):
        return False
    return left == 0 or any(
        reachable(ladders[: place + 1], left - 1, used + uses, enough) for place, (_, uses) in enumerate(ladders)
    )


def test_measured_values_are_computed_with_and_marked_values_are_named() -> None:
    ((best,), *_) = design_from(Goal(bits=2), read_drawer("680=700, 1k5=1k4"))
    assert [resistor.ohms for resistor in best.resistors] == [1400.0, 700.0]
    assert [str(resistor) for resistor in best.resistors] == ["1k5=1k4", "680=700"]
    assert [resistor.written for resistor in best.resistors] == ["1k4", "700"]


def test_a_drawer_that_is_too_empty() -> None:
    with pytest.raises(BoardError, match="each of 2 channels; it does for 1; add resistors, or allow pairs"):
        design_from(Goal(bits=2), read_drawer("1 x 680, 1 x 1k5"), channels=2)
    with pytest.raises(BoardError, match=r"errs by less than 25 % of its range for 1 channel; add resistors$"):
        design_from(Goal(bits=2), read_drawer("1 x 10"), pairs=True)
    with pytest.raises(BoardError, match="cannot be reached"):
        design_from(Goal(bits=2, supply=0.5), read_drawer(EIGHT))
