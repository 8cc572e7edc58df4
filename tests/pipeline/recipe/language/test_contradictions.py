from __future__ import annotations

import pytest

from ladderlight.recipe.language.contradictions import contradictions

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
        (
            {"memory": [SIZED | {"marking": "MH-77"}]},
            ("memory", 0, "marking"),
            "memory 'm' has both part and marking; a part has its own; leave out part, or marking",
        ),
        (
            {"memory": [{"name": "m", "words": 16, "width": 8, "erasure": "ultraviolet", "page": 64}]},
            ("memory", 0, "page"),
            "memory 'm' has a page, but is not erased by bytes or sectors; "
            'add erasure = "sectors" or erasure = "bytes", or leave out page',
        ),
        (
            {"memory": [{"words": "100 KiB", "width": 24}]},
            ("memory", 0, "words"),
            "words is '100 KiB', which is not a power of two in words of 24 bits, 3 bytes each; "
            'use "96 KiB" or "192 KiB"',
        ),
        (
            {"memory": [{"words": "100 KB", "width": 8}]},
            ("memory", 0, "words"),
            "words is '100 KB', which is not a power of two in words of 8 bits, 1 byte each; "
            'use "64 KiB" or "128 KiB"',
        ),
        (
            {"memory": [{"words": "2 B", "width": 16}]},
            ("memory", 0, "words"),
            "words is '2 B', which is not a power of two in words of 16 bits, 2 bytes each; use \"4 B\"",
        ),
        (
            {"memory": [{"words": "128 MiB", "width": 8}]},
            ("memory", 0, "words"),
            "words is '128 MiB', which is not a power of two in words of 8 bits, 1 byte each; use \"65536 KiB\"",
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
        {"memory": [{"words": "96 KiB", "width": 24}], "ladder": {"grey": {}}},
        {"memory": [{"words": "100 KiB", "width": 24.5}, {"words": "x", "width": 24}], "ladder": {"grey": {}}},
        {"memory": [3], "ladder": {"red": {}}},  # of wrong types others complain
        {"memory": 3, "ladder": []},
        {},
    ],
)
def test_nothing_to_say(raw: dict[str, object]) -> None:
    assert list(contradictions(raw)) == []
