"""Values: what makes two of them equal."""

from __future__ import annotations

import pickle
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path

import numpy as np
import pytest

from ladderlight.system.value import Value


class Drawer(Value):
    """Resistors, as an example."""

    ohms: Mapping[str, object]
    labels: frozenset[str] = frozenset()
    measured: object = None

    @cached_property
    def total(self) -> list[object]:
        return list(self.ohms)


def test_equal_content_is_equal() -> None:
    drawer = Drawer(ohms={"r0": 75, "r1": 680.0}, labels=frozenset("abcdef"), measured=np.arange(3))
    same = Drawer(ohms={"r0": 75.0, "r1": Fraction(680)}, labels=frozenset("fedcba"), measured=np.arange(3))
    assert drawer == same
    assert hash(drawer) == hash(same)


@pytest.mark.parametrize(
    "changes",
    [
        {"ohms": {"r1": 680.0, "r0": 75}},  # another order of lines is another order of codes
        {"ohms": {"r0": 75, "r1": "680"}},
        {"ohms": {"r0": 75, "r1": np.nextafter(680.0, 681)}},
        {"labels": frozenset("a")},
        {"measured": np.arange(3, dtype=np.float32)},
        {"measured": Path("r0")},
        {"measured": True},
    ],
)
def test_other_content_is_not(changes: dict[str, object]) -> None:
    drawer = Drawer(ohms={"r0": 75, "r1": 680.0}, measured=1)
    assert replace(drawer, **changes) != drawer


def test_a_pickle_holds_the_fields_alone() -> None:
    drawer = Drawer(ohms={"r0": 75})
    plain = pickle.dumps(drawer)
    assert drawer.total == ["r0"]
    assert pickle.dumps(drawer) == plain
    assert pickle.loads(plain) == drawer


def test_what_has_no_content_is_refused() -> None:
    with pytest.raises(TypeError, match="function is not plain data"):
        hash(Drawer(ohms={"r0": lambda: 75}))
