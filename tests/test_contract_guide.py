"""The contract as DEVELOPERS.md has it: its names, and its examples, run."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import ladderlight
from ladderlight.stages.contract import CONTRACT
from ladderlight.testing import picture_of, run_stage

GUIDE = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text()
EXAMPLES = [textwrap.dedent(block) for block in re.findall(r"^ *```python\n.*?^ *```", GUIDE, re.DOTALL | re.MULTILINE)]


def run(*blocks: str) -> dict[str, Any]:
    names: dict[str, Any] = {"__name__": "guide"}
    for block in blocks:
        exec(compile(re.sub(r"^```.*$", "", block, flags=re.MULTILINE), "DEVELOPERS.md", "exec"), names)
    return names


def test_dir_lists_the_contract_and_every_name_of_it_loads() -> None:
    assert dir(ladderlight) == sorted(ladderlight.__all__)
    for name in ladderlight.__all__:
        assert getattr(ladderlight, name) is not None
    with pytest.raises(AttributeError, match="has no attribute 'crop'"):
        _ = ladderlight.crop


def test_the_guide_lists_every_name_of_the_contract() -> None:
    section = GUIDE[GUIDE.index("## The contract") : GUIDE.index("## A stage that knows all pictures")]
    assert set(ladderlight.__all__) - {"__version__"} <= set(re.findall(r"`(\w+)`", section))
    assert f"now {CONTRACT}." in section


def test_the_first_stage_passes_its_own_test() -> None:
    stage, test, _ = EXAMPLES
    run(stage, test)["test_black_is_lifted_and_white_stays"]()


def test_the_survey_brings_two_pictures_to_one_mean() -> None:
    names = run("from ladderlight import *; import numpy as np", EXAMPLES[2])
    dark, light = (picture_of(np.full((2, 2, 3), level)) for level in (0.25, 0.75))
    looked = names["look"](None, {})
    survey = ladderlight.Survey(total=looked(dark) + looked(light))
    levelled = [run_stage(names["level_with_the_others"], picture, survey=survey) for picture in (dark, light)]
    assert [float(picture.pixels.mean()) for picture in levelled] == [0.5, 0.5]
