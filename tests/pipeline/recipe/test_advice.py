"""What a good recipe could still say."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from ladderlight.recipe import Recipe, advice_on

from ...boards import COLOURS

BOARD = f"""
format = 1
{COLOURS}
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
def test_a_recipe_without_distance_is_told_how_to_get_the_grain(
    read: Callable[[str], Recipe], text: str, *, said: bool
) -> None:
    found = list(advice_on(read(text)))
    assert [(finding.level, finding.where) for finding in found] == ([("note", "viewing")] if said else [])
    assert all("add [viewing] with distance" in finding.message for finding in found)


def test_stages_that_do_not_care_are_no_reason(read: Callable[[str], Recipe], text: str) -> None:
    assert list(advice_on(read(text))) == []


FRAMES = (
    BOARD.replace("{", "{{").replace("}", "}}").replace("day-1", "*")
    + VIEWING
    + '[[stage]]\nuse = "{reduction}"\n{more}\n[[stage]]\nuse = "{arrangement}"\n{match}\n[[stage]]\nuse = "binary"\n'
)


@pytest.mark.parametrize(
    ("reduction", "more", "arrangement", "match", "said"),
    [
        ("few_colours", "", "frames", "", True),
        ("few_colours", 'share = "picture"', "frames", "", True),
        ("few_colours", "", "frames", 'match = "day-*"', True),
        ("few_colours", "", "frames", 'match = "night-*"', False),
        ("few_colours", 'share = "all"', "frames", "", False),
        ("few_colours", "codes = [0, 7]", "frames", "", False),
        ("few_colours", "", "bank_pictures", "", False),
        ("diffuse", "", "frames", "", False),
    ],
)
def test_frames_that_choose_their_own_colours_are_told_how_to_share_them(
    read: Callable[[str], Recipe], reduction: str, more: str, arrangement: str, match: str, *, said: bool
) -> None:
    text = FRAMES.format(reduction=reduction, more=more, arrangement=arrangement, match=match)
    found = list(advice_on(read(text)))
    assert [(finding.level, finding.where) for finding in found] == ([("note", "few_colours")] if said else [])
    assert all(finding.message.endswith('add share = "all"') for finding in found)


def test_a_choice_shared_by_all_frames_of_a_picture_table_counts(read: Callable[[str], Recipe]) -> None:
    text = FRAMES.format(reduction="few_colours", more="", arrangement="frames", match='match = "day-*"')
    shared = '[[picture]]\nmatch = "{}"\nfew_colours = {{ share = "all" }}\n'
    assert list(advice_on(read(text + shared.format("day-*")))) == []
    assert len(list(advice_on(read(text + shared.format("day-1*"))))) == 1
