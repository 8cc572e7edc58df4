"""Parts of a recipe as text: read back by a TOML reader that is not ours."""

from __future__ import annotations

import tomllib

import pytest

from ladderlight import Example, Picture, stage
from ladderlight.stages.declaration import declaration_of
from ladderlight.stages.wording import stage_table, toml_value


@pytest.mark.parametrize(
    "value",
    ["plain", 'with "quotes" and \\ and é', 3, -0.5, True, [1, 2.5], [["a"], []], {"a": 1, "b": ["c"]}],
)
def test_values_read_back(value: object) -> None:
    assert tomllib.loads(f"key = {toml_value(value)}") == {"key": value}


def test_a_stage_as_a_table() -> None:
    @stage(help="Shifts.", example=Example(options={"by": [1, 2], "wrap": True}))
    def shift(picture: Picture) -> Picture: ...

    text = stage_table(declaration_of(shift))
    assert text == '[[stage]]\nuse = "shift"\nby = [1, 2]\nwrap = true'
    assert tomllib.loads(text) == {"stage": [{"use": "shift", "by": [1, 2], "wrap": True}]}
