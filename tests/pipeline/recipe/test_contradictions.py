from __future__ import annotations

import pytest

from ladderlight.recipe.contradictions import contradictions

SIZED = {"name": "m", "part": "27C010"}


@pytest.mark.parametrize(
    ("raw", "where", "message"),
    [
        (
            {"memory": [{"name": "m"}]},
            ("memory", 0),
            "memory 'm' lacks its part; add part = \"27C010\" or the like, or words and width",
        ),
        ({"memory": [{"words": 16}]}, ("memory", 0, "words"), "the memory has words alone; add width = 8 or the like"),
        (
            {"memory": [{"width": 8}]},
            ("memory", 0, "width"),
            "the memory has width alone; add words = 131072 or the like",
        ),
        (
            {"memory": [SIZED, SIZED | {"width": 8}]},
            ("memory", 1, "width"),
            "memory 'm' has both part and width; a part has its own; leave out part, or width",
        ),
        ({"ladder": {"supply": 5}}, ("ladder",), "the ladder has no channel; add red, green and blue, or grey"),
        (
            {"ladder": {"grey": {}, "red": {}}},
            ("ladder", "grey"),
            "grey feeds all three guns, but there is red as well; keep grey alone, or red, green and blue",
        ),
    ],
)
def test_keys_at_odds(raw: dict[str, object], where: tuple[str | int, ...], message: str) -> None:
    assert [(p.where, str(p)) for p in contradictions(raw)] == [(where, message)]


@pytest.mark.parametrize(
    "raw",
    [
        {"memory": [SIZED, {"words": 1, "width": 2}], "ladder": {"grey": {}}},
        {"memory": [3], "ladder": {"red": {}}},  # of wrong types others complain
        {"memory": 3, "ladder": []},
        {},
    ],
)
def test_nothing_to_say(raw: dict[str, object]) -> None:
    assert list(contradictions(raw)) == []
