"""Frozen dataclasses behave as those of Python's own decorator, which is the standard here."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace
from typing import Any, Generic, TypeVar

import pytest

from ladderlight.system.frozen import Frozen

Value = TypeVar("Value")


class Point(Frozen):
    """A point."""

    x: int
    y: int = 2
    names: list[str] = field(default_factory=list, compare=False)
    hidden: str = field(default="", repr=False)


class Larger(Point):
    """With a field more, and one that is computed."""

    z: int
    double: int = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "double", 2 * self.z)


class Apart(Frozen, eq=False):
    """Equal to itself only."""

    x: int


@dataclass(frozen=True, kw_only=True)
class Standard:
    """A point."""

    x: int
    y: int = 2
    names: list[str] = field(default_factory=list, compare=False)
    hidden: str = field(default="", repr=False)


@pytest.mark.parametrize(
    "of",
    [
        lambda point: repr(point(x=1, names=["a"], hidden="b")).partition("(")[2],
        lambda point: hash(point(x=1, names=["a"])) == hash((1, 2, "")),
        lambda point: point(x=1, names=["a"]) == point(x=1) != point(x=1, y=3),
        lambda point: point(x=1) == (1, 2, [], ""),
        lambda point: asdict(replace(point(x=1), y=5)),
        lambda point: [(each.name, each.kw_only) for each in fields(point)],
        lambda point: vars(pickle.loads(pickle.dumps(point(x=1, hidden="c")))),
        lambda point: point(x=1).names is not point(x=1).names,
    ],
)
def test_values_are_as_those_of_the_decorator(of: Callable[[Any], Any]) -> None:
    assert of(Point) == of(Standard)


@pytest.mark.parametrize("point", [Point, Standard])
def test_nothing_is_changed_left_out_or_unknown(point: Any) -> None:
    for wrong in ({}, {"y": 1}, {"x": 1, "w": 2}):
        with pytest.raises(TypeError, match="w" if "w" in wrong else "x"):
            point(**wrong)
    with pytest.raises(TypeError):
        point(1)
    made = point(x=1)
    with pytest.raises(FrozenInstanceError, match="field 'x'"):
        made.x = 2
    with pytest.raises(FrozenInstanceError, match="field 'x'"):
        del made.x
    assert made.x == 1


def test_what_is_wrong_with_the_fields_is_named() -> None:
    cases: list[tuple[tuple[int, ...], dict[str, int], str]] = [
        ((), {"x": 1, "w": 2}, "Point has no field 'w'"),
        ((), {"w": 2}, "Point has no field 'w'"),
        ((), {"y": 1}, "Point lacks the field 'x'"),
        ((1, 2), {}, "Point takes its fields by name: hidden, names, x, y"),
    ]
    for unnamed, given, words in cases:
        with pytest.raises(TypeError) as caught:
            Point(*unnamed, **given)  # type: ignore[arg-type, call-arg, misc]
        assert str(caught.value) == words


def test_a_class_may_be_generic_as_well() -> None:
    class Box(Frozen, Generic[Value]):
        held: Value

    assert Box[int](held=1) == Box(held=1) != Box(held=2)


def test_fields_are_inherited_and_may_be_computed() -> None:
    made = Larger(x=1, z=3)
    assert repr(made) == "Larger(x=1, y=2, names=[], z=3, double=6)"
    assert replace(made, z=4).double == 8
    assert made != Point(x=1)
    assert Apart(x=1) != Apart(x=1)
    assert len({Apart(x=1), Apart(x=1)}) == 2
