"""What a good recipe could still say."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from ladderlight.recipe import Recipe, advice_on

BOARD = """
format = 1
[board]
mode = "640x480@60"
clock = "25.175 MHz"
[[board.memory]]
name = "picture"
part = "27C010"
address = ["x2-x9", "y2-y8"]
data = ["b0", "g0", "r0"]
[board.ladder]
supply = "5 V"
red = { r0 = "470" }
green = { g0 = "470" }
blue = { b0 = "470" }
[pictures]
files = ["pictures/day-1.jpg"]
"""
CHAIN = '[[stage]]\nuse = "diffuse"\n{more}\n[[stage]]\nuse = "bank_pictures"\n[[stage]]\nuse = "binary"\n'
VIEWING = '[viewing]\ndistance = "1.5 m"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (BOARD, True),
        (BOARD + CHAIN.format(more=""), True),
        (BOARD + CHAIN.format(more='screen_width = "40 cm"'), True),
        (BOARD + CHAIN.format(more='distance = "2 m"'), False),
        (BOARD + VIEWING, False),
        (BOARD + VIEWING + CHAIN.format(more=""), False),
    ],
)
def test_a_recipe_without_distance_is_told_how_to_get_the_visible_error(
    read: Callable[[str], Recipe], text: str, *, said: bool
) -> None:
    found = list(advice_on(read(text)))
    assert [(finding.level, finding.where) for finding in found] == ([("note", "viewing")] if said else [])
    assert all("add [viewing] with distance" in finding.message for finding in found)


def test_stages_that_do_not_care_are_no_reason(read: Callable[[str], Recipe], text: str) -> None:
    assert list(advice_on(read(text))) == []
